"""The air sensor against the ground: noise, gusts, gain of every run by closure, yaw offset, tilt of the mount.

Over an out and back, or a closed lap, the wind cancels: sensed air speed less ground speed leaves the gain.
What the gains of all runs have in common, and what drifts in them, is decided in `joint`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.bends import bearing, turning
from analysis.core.course import Layout
from analysis.core.gusts import Air, Gusts
from analysis.core.samples import Samples, median_known
from analysis.core.types import Array, IntArray, Mask
from analysis.core.wandering import half_squares, kept_by_mean, split

WANDER_MPS = 0.3  # mean wind, in ten minutes (DESIGN section 7)
WANDER_RAD = np.radians(10.0)  # its direction, in ten minutes (DESIGN section 7)
TEN_MINUTES_S = 600.0
YAW_OFFSET_SD = np.radians(2.0)  # DESIGN section 7
SECTORS, SECTOR_M = 8, 80.0  # of a lap: the heading changes little inside, gusts are mostly averaged
LEAST_HEARD_S = 4.5  # of a block
GAIN_BOUND = 2.3  # of its logarithm: tenfold
NOMINAL_AIR_NOISE_MPS = 0.15
WIND_MPS = 5.0  # mean wind, each component, before anything was sensed


@dataclass(frozen=True, slots=True, eq=False)
class Blocks:
    """Time means of the air sensor over legs or sectors; arrays of shape (n,)."""

    run: Array
    begin_s: Array
    end_s: Array
    air_mps: Array  # sensed, along travel
    cross_mps: Array  # sensed, from the rider's left
    ground_mps: Array
    east: Array  # mean heading; both zero for a whole lap without positions
    north: Array
    samples: Array


@dataclass(frozen=True, slots=True, eq=False)
class Closure:
    """Logarithm of the sensor's gain for every run, by closure alone."""

    log_gain: Array  # (r,)
    covariance: Array  # (r, r)
    yaw_offset_rad: float
    yaw_offset_u: float
    wind_mps: float  # mean along and across, magnitude
    gusts: Gusts


def gather(runs: list[Samples], layout: Layout, kept: list[Mask]) -> Blocks:
    """Block means over the parts of every pass that are ridden freely.

    Parameters
    ----------
    runs : list[Samples]
        Prepared samples [1].
    layout : Layout
        Passes and marks [m].
    kept : list[ndarray]
        For each run a bool array of samples that count [1].

    Returns
    -------
    Blocks
        One row for each leg, or each sector of a lap [m/s].
    """
    rows: list[tuple[float, ...]] = []
    for p in layout.passes:
        r = runs[p.run]
        if r.air_mps is None:
            continue
        index = np.arange(p.first, p.last + 1)
        heard = kept[p.run][index] & r.sound[index]
        for part in _parts(layout, p.along_m, blind=layout.closed and r.east_m is None):
            own = index[part[heard[part]]]
            if own.size < 2 or r.step_s[own].sum() < LEAST_HEARD_S:
                continue
            rows.append(_block(r, p.run, own, layout.closed, p.direction))
    columns = np.array(rows).T if rows else np.zeros((9, 0))
    return Blocks(*columns)


def sectors(lap_m: float) -> int:
    """Into how many parts a lap is cut.

    Parameters
    ----------
    lap_m : float
        Once round [m].

    Returns
    -------
    int
        Fewer on a short lap, where a sector would be a matter of three seconds [1].
    """
    return int(np.clip(lap_m / SECTOR_M, 2, SECTORS))


def _parts(layout: Layout, along: Array, *, blind: bool) -> list[IntArray]:
    """Samples of each block of a pass: the whole leg, or sectors of each lap (whole laps without positions)."""
    low, high = float(layout.marks_m[0]), float(layout.marks_m[-1])
    if not layout.closed:
        return [np.flatnonzero((along >= low) & (along <= high))]
    sector = (high - low) / (1 if blind else sectors(high - low))
    number = np.floor(along / sector)
    ordered = np.argsort(number, kind="stable")
    return np.split(ordered, np.flatnonzero(np.diff(number[ordered])) + 1)


def _block(r: Samples, run: int, own: IntArray, closed: bool, direction: int) -> tuple[float, ...]:
    assert r.air_mps is not None
    dt = r.step_s[own]
    total = float(dt.sum())
    air, speed = r.air_mps[own], r.speed_mps[own]
    before = r.speed_mps[np.maximum(own - 1, 0)]
    mean_speed = 0.5 * (speed + np.where(np.isfinite(before), before, speed))
    cross = air * np.tan(r.yaw_rad[own])
    east, north = float(direction), 0.0
    if r.east_m is not None and r.north_m is not None:
        places = np.concatenate([np.maximum(own[:1] - 1, 0), own])  # the first step begins at the sample before
        known = places[np.isfinite(r.east_m[places]) & np.isfinite(r.north_m[places])]
        if known.size >= 2:
            e, n = r.east_m[known[-1]] - r.east_m[known[0]], r.north_m[known[-1]] - r.north_m[known[0]]
            size = (
                max(float(np.hypot(e, n)), 1e-6)
                if not closed
                else max(float(r.distance_m[known[-1]] - r.distance_m[known[0]]), 1e-6)
            )
            east, north = float(e) / size, float(n) / size
    elif closed:
        east = north = 0.0
    # round a closed lap a steady wind cancels over distance, not over time
    way = mean_speed * dt
    share = dt / total if (east, north) != (0.0, 0.0) or not way.sum() > 0.0 else way / float(way.sum())
    means = [float(np.sum(w * share)) for w in (air, cross, mean_speed)]
    return (
        float(run),
        float(r.time_s[own[0]]) - float(dt[0]),
        float(r.time_s[own[-1]]),
        *means,
        east,
        north,
        float(own.size),
    )


def measure_gusts(runs: list[Samples], layout: Layout, kept: list[Mask], gain: float, across: bool = False) -> Gusts:
    """Split the fluctuation of air speed less ground speed into sensor noise and gusts by its structure function.

    Parameters
    ----------
    runs : list[Samples]
        Prepared samples of the usable runs [1].
    layout : Layout
        Passes and marks [m].
    kept : list[ndarray]
        For each run the samples that count [1].
    gain : float
        The sensor's, roughly [1].
    across : bool
        Look at the air from the side instead [1].

    Returns
    -------
    Gusts
        Noise and gust strength [m/s], gust time [s].
    """
    step = float(np.median([median_known(r.step_s[1:]) for r in runs]))
    lags = np.arange(1, 25) * max(1, round(1.0 / step))  # gusts live for seconds, however often they are recorded
    series = []
    for p in layout.passes:
        r = runs[p.run]
        if r.air_mps is None:
            continue
        index = np.arange(p.first, p.last + 1)
        own = index[kept[p.run][index] & r.sound[index]]
        if own.size < 40:
            continue
        air = r.air_mps[own] / gain * np.tan(r.yaw_rad[own]) if across else r.air_mps[own] / gain - r.speed_mps[own]
        if layout.closed:
            air -= turning(air, p.along_m[own - p.first] / float(layout.marks_m[-1]), bearing(r)[:, own], waves=False)
        x = np.full(index.size, np.nan)
        x[own - p.first] = air
        series.append(x)
    seen, count = half_squares(series, lags)
    if count.min() < 10:
        return Gusts(NOMINAL_AIR_NOISE_MPS, 0.6, 4.0)
    return _noise_and_gusts(lags.astype(np.float64) * step, step, seen, count)


def _noise_and_gusts(lag_s: Array, step_s: float, seen: Array, count: IntArray) -> Gusts:
    """Noise and gusts from half the mean square of differences; a sample is a mean over its step.

    A sensor that samples instants instead differs from the step's mean by gusts within the step, which blur the
    sums just like noise: read as means, its noise comes out larger by that much, as it should.
    """

    def grown(tau: float) -> Array:
        x = step_s / tau
        return np.asarray(kept_by_mean(x) - 2.0 * (np.cosh(x) - 1.0) / x**2 * np.exp(-lag_s / tau))

    found = split(seen, np.sqrt(count) / np.maximum(seen, 1e-9), np.geomspace(1.0, 25.0, 25), grown)
    return Gusts(found.white, found.wander, found.time_s)


def close(blocks: Blocks, runs: int, along: Gusts, across: Gusts, has_yaw: bool) -> Closure | None:
    """Gain of every run from the blocks of the whole session under one wandering wind.

    Parameters
    ----------
    blocks : Blocks
        Means over legs or sectors [m/s].
    runs : int
        Number of runs [1].
    along : Gusts
        Gusts along and across the travel [m/s].
    across : Gusts
        Gusts along and across the travel [m/s].
    has_yaw : bool
        Whether the air from the side was sensed [1].

    Returns
    -------
    Closure or None
        None where no run has a usable block [1].
    """
    if blocks.run.size < 2:
        return None
    gain, q = 1.0, np.eye(2) * WANDER_MPS**2 / TEN_MINUTES_S
    answer = None
    for _ in range(3):
        answer = _close_once(blocks, runs, (along, across) if has_yaw else (along,), gain, q)
        middle = float(np.average(answer[0], weights=1.0 / np.maximum(np.diag(answer[1]), 1e-9)))
        gain = float(np.exp(np.clip(middle, -GAIN_BOUND, GAIN_BOUND)))  # a silent sensor has no gain to converge to
        wind = answer[4]
        q = wander(wind)
    assert answer is not None
    return Closure(
        np.clip(answer[0], -GAIN_BOUND, GAIN_BOUND), answer[1], answer[2], answer[3], float(np.hypot(*answer[4])), along
    )


def wander(wind: Array) -> Array:
    """Growth of the wind's covariance each second: in strength along it, in direction across it.

    Parameters
    ----------
    wind : ndarray
        Mean wind, east and north [m/s].

    Returns
    -------
    ndarray
        Growth of the covariance, shape (2, 2) [m2/s3].
    """
    size = float(np.hypot(*wind))
    unit = wind / size if size > 1e-6 else np.array([1.0, 0.0])
    across = np.array([-unit[1], unit[0]])
    turn = max(WANDER_RAD * size, WANDER_MPS)
    return np.asarray((WANDER_MPS**2 * np.outer(unit, unit) + turn**2 * np.outer(across, across)) / TEN_MINUTES_S)


def _close_once(
    b: Blocks, runs: int, gusts: tuple[Gusts, ...], gain: float, q: Array
) -> tuple[Array, Array, float, float, Array]:
    n, run, sides, has_yaw = b.run.size, b.run.astype(int), len(gusts), len(gusts) > 1
    faces = np.stack([np.column_stack([b.east, b.north]), np.column_stack([-b.north, b.east])])[:sides]
    # a lap without positions: what the wind changes while it is ridden round stays in the closure
    blind = (b.east == 0.0) & (b.north == 0.0)
    white = np.stack([gusts[0].noise_mps ** 2 / b.samples + blind * 0.1**2 + 1e-6, np.full(n, 0.1**2)])[:sides]
    sensed = np.stack([b.air_mps, b.cross_mps])[:sides] / gain
    columns = np.zeros((sides, n, runs + int(has_yaw)))
    columns[:, np.arange(n), run] = sensed
    if has_yaw:
        columns[1, :, runs] = sensed[0]
    target = sensed - np.stack([b.ground_mps, np.zeros(n)])[:sides]
    air = Air(b.begin_s, b.end_s, faces, gusts, white, WIND_MPS**2, q)
    rows = air.whitened(np.concatenate([columns, target[..., None], faces], axis=2))
    known, aim, wind = rows[:, :-3], rows[:, -3], rows[:, -2:]
    normal = known.T @ known
    normal[np.arange(runs), np.arange(runs)] += 1e-2  # a run without blocks stays unknown instead of singular
    if has_yaw:
        normal[runs, runs] += YAW_OFFSET_SD**-2
    inverse = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    theta = inverse @ (known.T @ aim)
    mean_wind = np.asarray(WIND_MPS**2 * wind.T @ (aim - known @ theta))
    offset, offset_u = (float(theta[runs]), float(np.sqrt(inverse[runs, runs]))) if has_yaw else (0.0, YAW_OFFSET_SD)
    return np.log(gain) + theta[:runs], inverse[:runs, :runs], offset, offset_u, mean_wind


def mount_tilt(runs: list[Samples]) -> tuple[Array, Array] | None:
    """Pitch of the sensor's mount in every run: the mean over the closed path, where the road's slope cancels.

    Parameters
    ----------
    runs : list[Samples]
        Prepared samples of the usable runs [1].

    Returns
    -------
    tuple of ndarray or None
        Tilt and its standard uncertainty, shape (runs,); None without the channel [rad].
    """
    tilt, error = np.full(len(runs), np.nan), np.full(len(runs), np.nan)
    for i, r in enumerate(runs):
        if r.tilt_rad is None:
            continue
        path = np.diff(r.distance_m, prepend=r.distance_m[0])
        known = np.isfinite(r.tilt_rad) & (path > 0.0)
        if known.sum() < 20:
            continue
        w = path[known] / path[known].sum()
        tilt[i] = float(w @ r.tilt_rad[known])
        rough = float(np.std(np.diff(r.tilt_rad[known]))) / np.sqrt(2.0)
        error[i] = rough * float(np.sqrt(np.sum(w**2)))
    if np.isfinite(tilt).sum() < 2:
        return None
    return tilt, error

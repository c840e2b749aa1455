"""The energy sums of every pass between the session's marks.

Here belongs adding up; weighing the sums against each other belongs to `balance`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import groupby
from typing import Self

import numpy as np

from analysis.core.alignment import Pass
from analysis.core.constants import STANDARD_GRAVITY
from analysis.core.course import MARK_WINDOW_M, Layout
from analysis.core.road import bearing_power_w
from analysis.core.samples import SOFT_SHARE, Samples, median_known
from analysis.core.types import Array, IntArray, Mask

SUMS = ("work", "bearing", "length", "area", "yaw_area", "abs_yaw", "power2", "air2", "missing", "soft")
SOFT_TIME_SHARE = 0.15  # of a stretch that may be soft before it is left out


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """One row for each passage of a stretch; arrays of shape (n,)."""

    run: Array  # index
    ride: Array  # index of the pass
    place: Array  # index of the stretch on the course
    direction: Array  # +1 or -1
    begin_s: Array  # [s]
    duration_s: Array  # [s]
    length_m: Array  # [m] by the wheel
    energy_j: Array  # [J] eta sum(P dt) - kinetic energy gained - bearings
    work_j: Array  # [J] eta sum(P dt)
    area_j_m2: Array  # [J/m2] X of DESIGN section 7 with the air speed as sensed, without sensor noise
    yaw_area_j_m2: Array  # [J/m2] the same sum with sin^2(yaw) in it
    abs_yaw_area: Array  # [J rad/m2] the same sum with |yaw| in it
    rolling_j: Array  # [J] m g length
    weight_n: Array  # [N] m g
    power_square: Array  # [J2] sum((eta P dt)^2)
    air_square: Array  # sum((rho a v dt)^2): variance of X for one m2/s2 of air-speed noise
    speed_gain: Array  # [J s/m] m_e v at the first mark
    speed_gain_end: Array  # [J s/m] m_e v at the last mark
    push_n: Array  # [N] force of the energy balance at the first mark, height and drag still in it
    push_end_n: Array  # [N] at the last mark
    area_rate: Array  # [N/m2] X for each metre at the first mark
    area_rate_end: Array  # [N/m2] at the last mark
    power_step_w: Array  # [W] power at the wheel, last mark less first: what a late power meter moves each second
    area_step_w_m2: Array  # [W/m2] growth of X each second, last mark less first: the same for late air
    height_m: Array  # [m] altimeter: last mark less first, NaN without one
    missing_s: Array  # [s] of unsound steps inside
    soft_s: Array  # [s] without real pedalling inside

    def where(self, mask: Mask) -> Self:
        return type(self)(**{f.name: getattr(self, f.name)[mask] for f in fields(self)})

    def samples(self, row: int, time_s: Array, beyond_s: float = 0.0) -> slice:
        """Which samples of its run's times [s] a row holds, with those that lie so many seconds beside it."""
        return self.spans(np.array([row]), time_s, beyond_s)[0]

    def spans(self, rows: IntArray, time_s: Array, beyond_s: float = 0.0) -> list[slice]:
        """The same for several rows of one run."""
        begin = self.begin_s[rows]
        firsts = np.searchsorted(time_s, begin - beyond_s).tolist()
        lasts = np.searchsorted(time_s, begin + (self.duration_s[rows] + beyond_s)).tolist()
        return [slice(first, last) for first, last in zip(firsts, lasts, strict=True)]

    @property
    def sound(self) -> Mask:
        """Rows whose sums are whole and ridden under power."""
        soft = self.soft_s > np.maximum(SOFT_TIME_SHARE * self.duration_s, 1.0)
        moved = self.length_m > MARK_WINDOW_M  # a speed sensor that stays at zero moves no one
        return (self.missing_s < 1e-6) & ~soft & moved & np.isfinite(self.energy_j) & np.isfinite(self.area_j_m2)


def add_up(runs: list[Samples], layout: Layout, efficiency: float, spin_mass_kg: float) -> Stretches:
    """Energy sums of all passes between the marks.

    Parameters
    ----------
    runs : list[Samples]
        Prepared samples [1].
    layout : Layout
        Passes and marks [m].
    efficiency : float
        Share of the power that reaches the wheel [1].
    spin_mass_kg : float
        Wheel inertia over the squared wheel radius [kg].

    Returns
    -------
    Stretches
        One row for each passage [1].

    References
    ----------
    Martin et al. (1998), J. Appl. Biomech. 14:276-291: the terms of the balance.
    """
    rows = []
    for run, passes in groupby(enumerate(layout.passes), key=lambda numbered: numbered[1].run):
        sums = _running(runs[run], efficiency)
        rows += [_one(sums, i, p, layout, spin_mass_kg) for i, p in passes]
    names = [f.name for f in fields(Stretches)]
    return Stretches(**{n: np.concatenate([r[n] for r in rows]) if rows else np.zeros(0) for n in names})


def _marks_of(layout: Layout, p: Pass) -> tuple[Array, Array]:
    """Marks in the order in which a pass meets them (travelled coordinate) and the stretch after each."""
    marks = layout.marks_m
    low, high = float(p.along_m.min()) + MARK_WINDOW_M, float(p.along_m.max()) - MARK_WINDOW_M
    if layout.closed:
        period, count = float(marks[-1] - marks[0]), marks.size - 1
        step = period / count
        index = np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1)
        places, numbers = index * step, np.mod(index, count)
        if p.direction < 0:
            return -places[::-1], np.mod(numbers[::-1] - 1, count)
        return places, numbers
    inside = (marks >= low - 1e-9) & (marks <= high + 1e-9)
    places, numbers = marks[inside], np.flatnonzero(inside).astype(float)
    if p.direction < 0:
        return -places[::-1], numbers[::-1] - 1
    return places, numbers


@dataclass(frozen=True, slots=True, eq=False)
class _Running:
    """What a run has summed up to each of its samples; only differences mean something."""

    run: Samples
    sums: Array  # (10, n), in the order of `SUMS`
    speed_mps: Array  # (n,), 0 where it is not known
    height: tuple[Array, Array] | None  # times and smoothed heights of the altimeter


def _running(r: Samples, efficiency: float) -> _Running:
    dt, v = r.step_s, np.nan_to_num(r.speed_mps)
    mean_v = 0.5 * (v + np.concatenate([v[:1], v[:-1]]))
    way = mean_v * dt
    work = efficiency * np.nan_to_num(r.power_w) * dt
    air = v if r.air_mps is None else np.nan_to_num(r.air_mps)
    yaw = np.clip(r.yaw_rad, -1.2, 1.2)
    flow = air / np.cos(yaw)
    area = 0.5 * r.density_kg_m3 * np.abs(flow) * air * way
    soft = r.power_w < SOFT_SHARE * median_known(r.power_w)  # where power is not known it is not soft
    steps = np.array(
        [
            work, bearing_power_w(mean_v) * dt, way, area, area * np.sin(yaw) ** 2, area * np.abs(yaw), work**2,
            (r.density_kg_m3 * flow * way) ** 2, np.where(r.sound, 0.0, dt), np.where(soft, dt, 0.0),
        ]
    )  # fmt: skip
    return _Running(r, np.cumsum(steps, axis=1, out=steps), v, _smooth_height(r))


def _one(sums: _Running, ride: int, p: Pass, layout: Layout, spin: float) -> dict[str, Array]:
    r = sums.run
    places, numbers = _marks_of(layout, p)
    part = slice(p.first, p.last + 1)
    travelled, moves = _forwards(p.direction * p.along_m)
    time = r.time_s[part]
    at = np.interp(places, travelled, time[moves])
    rates = sums.sums[:, part][:, moves]
    inertia = r.mass_kg + spin
    v = sums.speed_mps[part][moves]
    means, growth = _around(places, travelled, np.vstack([rates, v, v**2]))
    *steps, _, square = np.diff(means)
    diff, speed, grows = dict(zip(SUMS, steps, strict=True)), means[-2], dict(zip(SUMS, growth, strict=False))
    weight = r.mass_kg * STANDARD_GRAVITY
    count = max(places.size - 1, 0)
    full = np.ones(count)
    push, area_rate = grows["work"] - 0.5 * inertia * growth[-1] - grows["bearing"], grows["area"]
    powers = grows["work"] * speed
    height = np.full(count, np.nan) if sums.height is None else np.diff(np.interp(at, *sums.height))
    return {
        "run": full * p.run, "ride": full * ride, "place": numbers[:-1] if count else np.zeros(0),
        "direction": full * p.direction,
        "begin_s": at[:-1] if count else np.zeros(0), "duration_s": np.diff(at), "length_m": diff["length"],
        "energy_j": diff["work"] - 0.5 * inertia * square - diff["bearing"], 
        "work_j": diff["work"], "area_j_m2": diff["area"],
        "yaw_area_j_m2": diff["yaw_area"], "abs_yaw_area": diff["abs_yaw"], "rolling_j": weight * diff["length"],
        "weight_n": full * weight, "power_square": diff["power2"], "air_square": diff["air2"],
        "speed_gain": inertia * speed[:count], "speed_gain_end": inertia * speed[1:] if count else np.zeros(0),
        "push_n": push[:count], "push_end_n": push[1:] if count else push[:0],
        "area_rate": area_rate[:count], "area_rate_end": area_rate[1:] if count else area_rate[:0],
        "power_step_w": np.diff(powers), "area_step_w_m2": np.diff(area_rate * speed),
        "height_m": height, "missing_s": diff["missing"], "soft_s": diff["soft"],
    }  # fmt: skip


def _forwards(travelled_m: Array) -> tuple[Array, IntArray | slice]:
    """Places in their order, each once, and which samples they are: all of them where the wheel never stood."""
    if np.all(travelled_m[1:] > travelled_m[:-1]):
        return travelled_m, slice(None)
    return np.unique(travelled_m, return_index=True)


def _around(places_m: Array, travelled_m: Array, values: Array) -> tuple[Array, Array]:
    """Means of quantities, a row each, over a short piece of road about each mark, and their growth for each metre.

    Every term of the balance is averaged alike and over the same road on every pass, so that the balance (and the
    height in it) still holds to the letter while the noise of single speed samples averages out. Smoothing the
    speed alone would push what a gust does over the mark into the next stretch, and dilute the drag area.
    """
    if places_m.size == 0:
        return np.zeros((len(values), 0)), np.zeros((len(values), 0))
    step = np.diff(travelled_m)
    total = np.zeros(values.shape)
    np.cumsum(0.5 * (values[:, 1:] + values[:, :-1]) * step, axis=1, out=total[:, 1:])

    def reached(x: Array) -> tuple[Array, Array]:  # exact between samples too: a gap may be longer than the window
        j = np.clip(np.searchsorted(travelled_m, x, side="right") - 1, 0, travelled_m.size - 2)
        beyond = x - travelled_m[j]
        share = np.clip(beyond / step[j], 0.0, 1.0)
        here = values[:, j]
        there = here + share * (values[:, j + 1] - here)
        return total[:, j] + 0.5 * beyond * (here + there), there

    (far, after), (near, before) = reached(places_m + MARK_WINDOW_M), reached(places_m - MARK_WINDOW_M)
    return (far - near) / (2.0 * MARK_WINDOW_M), (after - before) / (2.0 * MARK_WINDOW_M)


def _smooth_height(r: Samples) -> tuple[Array, Array] | None:
    known = np.isfinite(r.altitude_m) if r.altitude_m is not None else np.zeros(0, dtype=bool)
    if r.altitude_m is None or known.sum() < 10:
        return None
    height = r.altitude_m[known]
    padded = np.concatenate([height[[0, 0]], height, height[[-1, -1]]])
    return r.time_s[known], np.convolve(padded, np.full(5, 0.2), mode="valid")

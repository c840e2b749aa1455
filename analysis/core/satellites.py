"""How late the satellite positions come against the wheel: read where the speed changes, at turns and brakings.

A late fix lies behind by the delay times the speed. On an out and back that moves all ways out and all ways back
apart, and no altimeter or twin run can see it; where the rider slows, the fix catches up, and that can be seen.
Where the passes lie on one another belongs to `alignment`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.linalg import solve_triangular

from analysis.core.alignment import Pass
from analysis.core.samples import CLOCK_SD_S, Samples, median_known
from analysis.core.types import Array

WINDOW_M = (5.0, 160.0)  # from the end of a pass: the turn itself bends, farther away the speed is even
STRAIGHT_COS = 0.94  # a step that leaves the line by more than 20 degrees belongs to the turn
STEP_WANDER_M, WHITE_M = 0.6, 0.4  # of a receiver in a second, and of a fix (common practice, no source); rescaled
FLOOR_S = 0.03  # speed sensors and receivers smooth in ways of their own
LEAST_CHANGE = 0.15  # of the speed within a window, or it tells nothing


def lateness(runs: list[Samples], passes: list[Pass]) -> tuple[float, float]:
    """How late the positions come, from the ends of all passes.

    Parameters
    ----------
    runs : list[Samples]
        Prepared samples of the usable runs [1].
    passes : list[Pass]
        As the wheel and the turns place them [m].

    Returns
    -------
    tuple of float
        Delay and its standard uncertainty: the prior's where no pass shows a change of speed, 0 without positions [s].
    """
    told = [t for p in passes for window in _windows(runs[p.run], p) if (t := _told(runs[p.run], window)) is not None]
    if not told:
        return 0.0, CLOCK_SD_S if any(r.east_m is not None for r in runs) else 0.0
    value, information, rest, count = np.array(told).T
    inflate = max(float(rest.sum() / max(count.sum(), 1.0)), 0.25)  # the receiver's own noise, against the assumed
    weight = information / inflate
    mean = float(np.sum(weight * value) / np.sum(weight))
    for _ in range(3):  # a turn ridden oddly shall not move the mean
        far = np.abs(value - mean) * np.sqrt(weight)
        weight = information / inflate * np.minimum(1.0, 2.5 / np.maximum(far, 1e-9))
        mean = float(np.sum(weight * value) / np.sum(weight))
    variance = 1.0 / float(np.sum(weight)) + FLOOR_S**2
    shrunk = CLOCK_SD_S**2 / (CLOCK_SD_S**2 + variance)
    return shrunk * mean, float(np.sqrt(shrunk * variance))


def in_step(run: Samples, late_s: float) -> Samples:
    """The same run with its positions moved to the time at which they were true.

    Parameters
    ----------
    run : Samples
        Prepared samples [1].
    late_s : float
        Delay of the positions [s].

    Returns
    -------
    Samples
        With `east_m` and `north_m` moved; unknown places stay unknown [m].
    """
    if run.east_m is None or run.north_m is None or late_s == 0.0:
        return run
    at = run.time_s + late_s

    def moved(values: Array) -> Array:  # NaN beside a gap and beyond the ends: nothing is invented
        out = np.interp(at, run.time_s, values, left=np.nan, right=np.nan)
        return np.asarray(out)

    return replace(run, east_m=moved(run.east_m), north_m=moved(run.north_m))


def _windows(run: Samples, p: Pass) -> list[slice]:
    """Samples just before the end of a pass, and just after its begin where that was a turn."""
    if run.east_m is None:
        return []
    d = run.distance_m
    near, far = WINDOW_M
    out = []
    if p.last < d.size - 2:
        out.append(slice(int(np.searchsorted(d, d[p.last] - far)), int(np.searchsorted(d, d[p.last] - near))))
    if p.first > 0:
        out.append(slice(int(np.searchsorted(d, d[p.first] + near)), int(np.searchsorted(d, d[p.first] + far))))
    return [s for s in out if s.stop - s.start >= 8]


def _told(run: Samples, window: slice) -> tuple[float, float, float, float] | None:
    """Delay by one window, its information, the sum of squares left and its degrees of freedom."""
    assert run.east_m is not None
    assert run.north_m is not None
    e, n, d, v = (x[window] for x in (run.east_m, run.north_m, run.distance_m, run.speed_mps))
    if not np.isfinite(e + n + v).all():
        return None
    way = np.array([e[-1] - e[0], n[-1] - n[0]])
    size = float(np.hypot(*way))
    if size < 0.8 * float(d[-1] - d[0]):
        return None
    ahead = (e * way[0] + n * way[1]) / size
    places = np.column_stack([e, n])
    steps = places[1:] - places[:-1]
    steps = np.concatenate([steps[:1], steps])  # the first sample goes on as the second does
    lengths = np.hypot(*steps.T)
    straight = steps @ way >= STRAIGHT_COS * size * lengths
    slow = lengths < 1.0  # noise turns a short step round
    keep = straight | slow
    if keep.sum() < 8 or float(np.ptp(v[keep])) < max(LEAST_CHANGE * median_known(run.speed_mps), 0.1):
        return None
    behind, speed, time = (ahead - d)[keep], v[keep], run.time_s[window][keep]
    cause = np.column_stack([np.ones(time.size), -speed])
    since = time - time[0]
    covariance = STEP_WANDER_M**2 * np.minimum(since[:, None], since[None, :]) + WHITE_M**2 * np.eye(time.size)
    rows = np.column_stack([cause, behind])
    white = solve_triangular(np.linalg.cholesky(covariance), rows, lower=True, check_finite=False)
    triangle: Array = np.asarray(np.linalg.qr(white, mode="r"))  # as in `leastsquares`, for two unknowns
    slope, turned, left = float(triangle[1, 1]), float(triangle[1, 2]), float(triangle[2, 2])
    return turned / slope, slope**2, left**2, time.size - 2.0

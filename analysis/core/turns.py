"""Where the riders of an out and back turn: by the stated length, the slowest second and the satellites.

What lies between the turns belongs to `course`.
"""

from __future__ import annotations

import numpy as np

from analysis.core.samples import SHORT_GAP_S, Samples, median_known
from analysis.core.types import Array, IntArray

FOLD_READ_M = 20.0  # how well the satellites tell the place of a turn (common practice, no source)
APPROACH_M = 80.0  # tells the road's direction before a turn
UNEVEN = 0.25  # of a leg, by which a run may end early or late
FOLD_M = 25.0  # satellites must come back this far to show a turn


def slow_places(run: Samples, share: float) -> list[int]:
    """Index of the slowest sample of each spell slower than `share` of the usual speed, ends left out.

    Parameters
    ----------
    run : Samples
        Prepared samples, shape (n,) [1].
    share : float
        Of the usual speed [1].

    Returns
    -------
    list of int
        Indices of samples [1].
    """
    limit = share * median_known(run.speed_mps)
    slow = np.nan_to_num(run.speed_mps, nan=np.inf) < limit
    edges = np.flatnonzero(np.diff(np.concatenate([[0], slow.astype(int), [0]])))
    spells = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if run.distance_m[a] > 50.0]
    return [
        a + int(np.nanargmin(run.speed_mps[a:b])) for a, b in spells if run.distance_m[-1] - run.distance_m[a] > 50.0
    ]


def turns_of(run: Samples, length: float) -> list[int]:
    """Turns one after the other, each a leg after the one before: the way round every turn adds up over several.

    Parameters
    ----------
    run : Samples
        Prepared samples, shape (n,) [1].
    length : float
        One way [m].

    Returns
    -------
    list of int
        Indices of samples; empty where a turn is missing [1].
    """
    turns: list[int] = []
    next_m = length
    while run.distance_m[-1] - next_m > (1.0 - UNEVEN) * length or not turns:
        turn = _turn_near(run, next_m, length)
        if turn is None or turns[-1:] == [turn]:
            return []
        turns.append(turn)
        next_m = float(run.distance_m[turn]) + length
    return turns


def _hidden_turn(run: Samples, turn: int) -> float | None:
    """Distance of a turn that lies in a gap; None where the samples show it or no satellites saw both of its sides.

    What was ridden in the gap went on to the turn and back from it: both sides' places along the road share it out.
    """
    gaps = _gaps_beside(run, turn)
    if not gaps or run.east_m is None or run.north_m is None:
        return None
    after, before = gaps[0], gaps[0] - 1
    begin = max(int(np.searchsorted(run.distance_m, run.distance_m[before] - APPROACH_M, side="right")) - 1, 0)
    east, north = (x[[begin, before, after]] - x[begin] for x in (run.east_m, run.north_m))
    size = float(np.hypot(east[1], north[1]))
    if not size > 0.5 * APPROACH_M or not np.isfinite(east[2] + north[2]):
        return None
    onward = float((east[2] - east[1]) * east[1] + (north[2] - north[1]) * north[1]) / size
    ridden = float(run.distance_m[after] - run.distance_m[before])
    return float(run.distance_m[before]) + 0.5 * float(np.clip(ridden + onward, 0.0, 2.0 * ridden))


def _gaps_beside(run: Samples, sample: int) -> list[int]:
    """First samples after a gap, among this one and the next."""
    return [k for k in (sample, sample + 1) if k < run.step_s.size and run.step_s[k] > SHORT_GAP_S]


def turn_distance(run: Samples, slowest: int) -> float:
    """Distance at which braking became riding on: where the two lines of squared speed over distance meet.

    The slowest sample alone lies up to a second's way beside it, and rather after the turn than before.

    Parameters
    ----------
    run : Samples
        Prepared samples, shape (n,) [1].
    slowest : int
        Index of the turn's sample [1].

    Returns
    -------
    float
        Along the run [m].
    """
    hidden = _hidden_turn(run, slowest)
    if hidden is not None:
        return hidden
    d, v2 = run.distance_m, run.speed_mps**2
    before, after = slice(max(slowest - 2, 0), slowest), slice(slowest + 1, slowest + 4)  # braking is short
    here = float(d[slowest])
    if d[before].size < 2 or d[after].size < 3 or not np.isfinite(v2[slowest - 2 : slowest + 4]).all():
        return here
    if np.ptp(d[before]) < 1.0 or np.ptp(d[after]) < 1.0:
        return here
    down, up = _line_through(d[before] - here, v2[before]), _line_through(d[after] - here, v2[after])
    if down[0] >= 0.0 or up[0] <= 0.0:
        return here
    meet = float((up[1] - down[1]) / (down[0] - up[0]))
    return here + float(np.clip(meet, d[max(slowest - 1, 0)] - here, d[min(slowest + 1, d.size - 1)] - here))


def _line_through(x: Array, y: Array) -> tuple[float, float]:
    """Slope and value at zero of the line of least squares: `polyfit` takes longer to begin than this to end."""
    apart = x - x.mean()
    slope = float(apart @ y) / float(apart @ apart)
    return slope, float(y.mean()) - slope * float(x.mean())


def _turn_near(run: Samples, expected_m: float, length: float) -> int | None:
    """The turn close to a distance: where the satellite tracks fold, else the slowest second."""
    near = np.flatnonzero(np.abs(run.distance_m - expected_m) < max(0.08 * length, 60.0))
    if near.size < 3 or not np.isfinite(run.speed_mps[near]).any():
        return None
    gap = run.step_s > SHORT_GAP_S
    before, after = int(near[0]) - 1, int(near[-1]) + 1  # where a gap reaches farther, its other side belongs here
    if before >= 0 and gap[before + 1]:
        near = np.r_[before, near]
    if after < gap.size and gap[after]:
        near = np.r_[near, after]
    slowest = int(near[np.nanargmin(run.speed_mps[near])])
    folded = _fold(run, near)
    if run.speed_mps[slowest] > 0.75 * median_known(run.speed_mps) and folded is None:
        return None
    return slowest if folded is None else folded


def _fold(run: Samples, near: IntArray) -> int | None:
    """Index where the rider is farthest along the line of approach; None without satellites or a fold."""
    if run.east_m is None or run.north_m is None:
        return None
    d = run.distance_m
    i = max(int(np.searchsorted(d, d[near[0]] - 60.0, side="right")) - 1, 0)  # before a gap, if there is one
    way = np.array([run.east_m[near[0]] - run.east_m[i], run.north_m[near[0]] - run.north_m[i]])
    size = float(np.hypot(*way))
    if not size > 20.0:  # also where a place is missing
        return None
    ahead = (run.east_m[near] * way[0] + run.north_m[near] * way[1]) / size
    if not np.isfinite(ahead).any():
        return None
    top = int(np.nanargmax(ahead))
    if ahead[top] - np.nanmin(ahead[top:]) < FOLD_M or ahead[top] - np.nanmin(ahead[: top + 1]) < FOLD_M:
        return None
    if _gaps_beside(run, int(near[top])):  # the turn itself lies in the gap; a slow second after it is none
        return int(near[top])
    close = near[(np.abs(d[near] - d[near[top]]) < FOLD_READ_M) & np.isfinite(run.speed_mps[near])]
    if not close.size:
        return int(near[top])
    slowest = int(close[np.argmin(run.speed_mps[close])])  # the rider may be slower elsewhere, by a brake
    return slowest if run.speed_mps[slowest] < 0.75 * median_known(run.speed_mps) else int(near[top])

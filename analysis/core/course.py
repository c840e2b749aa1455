"""Marks are places: cut every run into passes over the same course and lay marks that all of them meet.

Here belongs which pass a sample is in and where the marks lie. That passes meet the same places belongs to
`alignment`, what happened between two marks to `stretches` and `balance`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.core.alignment import Pass, aligned
from analysis.core.samples import SHORT_GAP_S, Samples, median_known
from analysis.core.satellites import in_step, lateness
from analysis.core.types import Array, Course, IntArray

MARK_WINDOW_M = 20.0  # a mark is passed over this far on both sides: one speed sample's noise averages out
FOLD_READ_M = 20.0  # how well the satellites tell the place of a turn (common practice, no source)
APPROACH_M = 80.0  # tells the road's direction before a turn
STRETCH_M = 100.0  # short enough to leave out what went wrong, long enough for the speed noise at its ends
SHORTEST_M = 150.0  # a leg or lap that is shorter cannot be told from a turn
ROUND_M = (20.0, 0.0, 20.0, 40.0)  # way before, turn within, way after: a bend of a lap is wider
ROUND_COS = -0.87  # the ways differ by 150 degrees
FOLD_M = 25.0  # satellites must come back this far to show a turn
BRAKING_MPS2 = 0.7  # no rider slows so fast without brakes on a rideable road


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """All passes of a session over one set of marks."""

    passes: tuple[Pass, ...]
    marks_m: Array  # [m] places that cut the course into stretches, shape (k + 1,)
    closed: bool  # a lap: the last mark is the first
    wheel_scale: float  # true over stated circumference, by the satellites; 1 where they are silent
    wheel_scale_u: float  # its standard uncertainty
    run_u_m: float  # standard uncertainty of a run's place, all its legs alike [m]
    leg_u_m: float  # of one leg's beside that, along its travel [m]
    ahead_u_m: float  # of all legs alike along their travel: out and back apart by twice as much [m]
    no_path: tuple[int, ...]  # runs (by index) in which no closed path was found
    reversed_runs: tuple[int, ...]  # runs (by index) ridden the other way round


def lay_out(runs: list[Samples], course: Course, *, by_satellites: bool = True) -> Layout:
    """Passes of all runs, aligned, and the marks that they share.

    Parameters
    ----------
    runs : list[Samples]
        Prepared samples of the usable runs [1].
    course : Course
        Kind, length and bearing [1].
    by_satellites : bool
        Whether passes are moved to where the satellites saw them [1].

    Returns
    -------
    Layout
        Passes and marks [m].
    """
    length = course.length_m or _length_from(runs, course)
    found = [_laps(r, length) if course.kind == "lap" else _legs(r, length) for r in runs]
    passes = [replace(p, run=i) for i, ps in enumerate(found) for p in ps]
    no_path = tuple(i for i, ps in enumerate(found) if not ps)
    closed = course.kind == "lap"
    period = length if closed else None
    if closed and passes:
        period = _lap_length(runs, passes, length)
    passes, reversed_runs = _turned_round(runs, passes, course, period)
    seen = runs if by_satellites else [replace(r, east_m=None, north_m=None) for r in runs]
    late_s, late_u_s = lateness(seen, passes)
    places = aligned([in_step(r, late_s) for r in seen], passes, period)
    marks = _lap_marks(period) if period is not None else _leg_marks(runs, list(places.passes))
    speed = float(np.median([median_known(r.speed_mps) for r in runs]))
    ahead_u = float(np.hypot(places.ahead_u_m, late_u_s * speed))
    return Layout(
        places.passes, marks, closed, places.wheel_scale, places.wheel_scale_u, places.run_u_m, places.leg_u_m, ahead_u,
        no_path, reversed_runs,
    )  # fmt: skip


def _length_from(runs: list[Samples], course: Course) -> float:
    """Length of an unmeasured course: half of (or all of) the usual distance between the slowest places."""
    usual = float(np.median([r.distance_m[-1] for r in runs]))
    if course.kind == "lap":
        return usual
    firsts = []
    for r in runs:
        slow = _slow_places(r, 0.55)
        firsts.append(r.distance_m[slow[0]] if slow else usual / 2)
    return float(np.median(firsts))


def _slow_places(run: Samples, share: float) -> list[int]:
    """Index of the slowest sample of each spell slower than `share` of the usual speed, ends left out."""
    limit = share * median_known(run.speed_mps)
    slow = np.nan_to_num(run.speed_mps, nan=np.inf) < limit
    edges = np.flatnonzero(np.diff(np.concatenate([[0], slow.astype(int), [0]])))
    spells = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if run.distance_m[a] > 50.0]
    return [
        a + int(np.nanargmin(run.speed_mps[a:b])) for a, b in spells if run.distance_m[-1] - run.distance_m[a] > 50.0
    ]


def _legs(run: Samples, length: float) -> list[Pass]:
    """Legs between turns; places count from the first turn: out runs up to `length`, back down from it."""
    count = int(round(run.distance_m[-1] / max(length, SHORTEST_M)))
    if count < 2 or length < SHORTEST_M or abs(run.distance_m[-1] - count * length) > 0.25 * length:
        return []
    turns = [t for k in range(1, count) if (t := _turn_near(run, k * length, length)) is not None]
    if len(turns) != count - 1:
        return []
    bounds = [0, *turns, run.distance_m.size - 1]
    turned_m = [0.0, *(_turn_distance(run, t) for t in turns)]
    passes, place, direction = [], length, 1
    for k in range(count):
        first, last = bounds[k], bounds[k + 1]
        ridden = run.distance_m[first : last + 1]
        along = place - (turned_m[1] - ridden) if k == 0 else place + direction * (ridden - turned_m[k])
        passes.append(Pass(0, direction, first, last, along))
        if k > 0:
            place = place + direction * ((turned_m[k + 1] if k + 1 < count else ridden[-1]) - turned_m[k])
        direction = -direction
    return passes


def _hidden_turn(run: Samples, turn: int) -> float | None:
    """Distance of a turn that lies in a gap; None where the samples show it or no satellites saw both of its sides.

    What was ridden in the gap went on to the turn and back from it: both sides' places along the road share it out.
    """
    gaps = [k for k in (turn, turn + 1) if k < run.step_s.size and run.step_s[k] > SHORT_GAP_S]
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


def _turn_distance(run: Samples, slowest: int) -> float:
    """Distance at which braking became riding on: where the two lines of squared speed over distance meet.

    The slowest sample alone lies up to a second's way beside it, and rather after the turn than before.
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
    close = near[(np.abs(d[near] - d[near[top]]) < FOLD_READ_M) & np.isfinite(run.speed_mps[near])]
    if not close.size:
        return int(near[top])
    slowest = int(close[np.argmin(run.speed_mps[close])])  # the rider may be slower elsewhere, by a brake
    return slowest if run.speed_mps[slowest] < 0.75 * median_known(run.speed_mps) else int(near[top])


def _laps(run: Samples, length: float) -> list[Pass]:
    """All laps of a run in one stroke; nothing where less than nine tenths of a lap was ridden."""
    count = int(round(run.distance_m[-1] / max(length, SHORTEST_M)))
    if (
        count < 1
        or length < SHORTEST_M
        or abs(run.distance_m[-1] - count * length) > 0.12 * length * max(1, count) ** 0.5
        or _turns_round(run)
    ):
        return []
    return [Pass(0, 1, 0, run.distance_m.size - 1, run.distance_m.copy())]


def _turns_round(run: Samples) -> bool:
    """Whether the rider slows and goes back the way he came, which nobody does on a lap."""
    if run.east_m is None or run.north_m is None:
        return False
    known = np.isfinite(run.east_m + run.north_m + run.speed_mps)
    if known.sum() < 30:
        return False
    d = run.distance_m[known]
    at = np.arange(d[0] + ROUND_M[0], d[-1] - ROUND_M[-1], 5.0)
    e, n, v = (
        np.interp(at[:, None] + np.array(ROUND_M) * [-1, 0, 1, 1], d, x[known])
        for x in (run.east_m, run.north_m, run.speed_mps)
    )
    before, after = np.array([e[:, 1] - e[:, 0], n[:, 1] - n[:, 0]]), np.array([e[:, 3] - e[:, 2], n[:, 3] - n[:, 2]])
    opposite = np.sum(before * after, axis=0) < ROUND_COS * np.hypot(*before) * np.hypot(*after)
    slow = np.min(v[:, 1:3], axis=1) < 0.6 * float(np.median(run.speed_mps[known]))
    return bool(np.any(opposite & slow))


def _lap_length(runs: list[Samples], passes: list[Pass], length: float) -> float:
    """Once round by the wheels: from satellites that pass the start again, else from whole runs."""
    seen = []
    for p in passes:
        r = runs[p.run]
        laps = max(1, int(round(r.distance_m[-1] / length)))
        if r.east_m is None or r.north_m is None:
            seen.append(float("nan"))
            continue
        for k in range(1, laps + 1):
            near = np.flatnonzero(np.abs(r.distance_m - k * length) < 0.1 * length)
            gap = np.hypot(r.east_m[near] - r.east_m[0], r.north_m[near] - r.north_m[0])
            if (
                near.size
                and np.isfinite(gap).any()
                and np.nanmin(gap) < 25.0
                and near[0] < np.nanargmin(gap) + near[0] < near[-1]
            ):
                seen.append((float(r.distance_m[near[int(np.nanargmin(gap))]]) - r.distance_m[0]) / k)
    known = [s for s in seen if np.isfinite(s)]
    return float(np.median(known)) if known else length


def _turned_round(
    runs: list[Samples], passes: list[Pass], course: Course, period: float | None
) -> tuple[list[Pass], tuple[int, ...]]:
    """Give passes ridden the other way round their true direction and place: most runs say which way is usual."""
    sense = _senses_of_laps(runs, passes) if period is not None else _senses_of_legs(runs, passes, course)
    if not sense:
        return passes, ()
    turned = [i for i, way in sense.items() if way < 0]
    if len(turned) == len(sense):  # then the stated bearing is wrong, not every rider
        return passes, ()
    total = max(float(np.max(p.along_m)) for p in passes)
    if period is not None:
        total = period * round(total / period)
    out = [replace(p, direction=-p.direction, along_m=total - p.along_m) if p.run in turned else p for p in passes]
    return out, tuple(turned)


def _senses_of_legs(runs: list[Samples], passes: list[Pass], course: Course) -> dict[int, int]:
    """Run to +1 or -1: whether it starts along the stated bearing, or along most others where none is stated."""
    facing = {p.run: h for p in passes if p.first == 0 and (h := _start_heading(runs[p.run], p)) is not None}
    if not facing:
        return {}
    if course.bearing_rad is not None:
        usual = np.array([np.sin(course.bearing_rad), np.cos(course.bearing_rad)])
    else:
        usual = np.median(np.array(list(facing.values())), axis=0)
    return {i: -1 if float(h @ usual) < -0.5 * float(np.linalg.norm(usual)) else 1 for i, h in facing.items()}


def _senses_of_laps(runs: list[Samples], passes: list[Pass]) -> dict[int, int]:
    """Run to +1 or -1: whether it goes round as most do, by the sign of the area that its track encloses."""
    area = {}
    for p in passes:
        r = runs[p.run]
        if r.east_m is not None and r.north_m is not None:
            known = np.isfinite(r.east_m) & np.isfinite(r.north_m)
            if known.sum() < 10:
                continue
            e, n = r.east_m[known] - r.east_m[known].mean(), r.north_m[known] - r.north_m[known].mean()
            area[p.run] = float(np.sum(e[:-1] * n[1:] - e[1:] * n[:-1]))
    usual = np.sign(np.median(list(area.values()))) if area else 0.0
    return {i: -1 if a * usual < 0.0 else 1 for i, a in area.items()}


def _start_heading(run: Samples, p: Pass) -> Array | None:
    if run.east_m is None or run.north_m is None:
        return None
    j = min(int(np.searchsorted(run.distance_m, run.distance_m[p.first] + 120.0)), p.last)
    i = min(int(np.searchsorted(run.distance_m, run.distance_m[p.first] + 5.0)), j)
    step = np.array([run.east_m[j] - run.east_m[i], run.north_m[j] - run.north_m[i]])
    size = float(np.hypot(*step))
    return step / size if np.isfinite(size) and size > 20.0 else None


def _lap_marks(period: float) -> Array:
    return np.linspace(0.0, period, max(4, int(round(period / STRETCH_M))) + 1)


def _leg_marks(runs: list[Samples], passes: list[Pass]) -> Array:
    """Marks over the part that nearly all passes ride freely: after the start, before the braking."""
    lows, highs = [], []
    for p in passes:
        r = runs[p.run]
        speed = r.speed_mps[p.first : p.last + 1]
        braking = np.gradient(speed, r.time_s[p.first : p.last + 1]) < -BRAKING_MPS2
        free = np.flatnonzero(
            (speed > 0.6 * median_known(r.speed_mps)) & ~braking & (r.power_w[p.first : p.last + 1] > 0.0)
        )
        if free.size < 20:
            continue
        lows.append(float(p.along_m[free].min()))
        highs.append(float(p.along_m[free].max()))
    if not lows:
        return np.zeros(0)
    low, high = float(np.percentile(lows, 85)) + MARK_WINDOW_M, float(np.percentile(highs, 15)) - MARK_WINDOW_M - 5.0
    count = max(2, int(round((high - low) / STRETCH_M)))
    return np.linspace(low, high, count + 1)

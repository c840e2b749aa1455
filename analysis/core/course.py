"""Marks are places: cut every run into passes over the same course and lay marks that all of them meet.

Here belongs which pass a sample is in and where the marks lie. That passes meet the same places belongs to
`alignment`, what happened between two marks to `stretches` and `balance`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.core.alignment import Pass, aligned
from analysis.core.samples import SOFT_SHARE, Samples, median_known
from analysis.core.satellites import in_step, lateness
from analysis.core.turns import UNEVEN, slow_places, turn_distance, turns_of
from analysis.core.types import Array, Course

MARK_WINDOW_M = 20.0  # a mark is passed over this far on both sides: one speed sample's noise averages out
STRETCH_M = 100.0  # short enough to leave out what went wrong, long enough for the speed noise at its ends
SHORTEST_M = 150.0  # a leg or lap that is shorter cannot be told from a turn
ROUND_M = (20.0, 0.0, 20.0, 40.0)  # way before, turn within, way after: a bend of a lap is wider
ROUND_COS = -0.87  # the ways differ by 150 degrees
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
        slow = slow_places(r, 0.55)
        firsts.append(r.distance_m[slow[0]] if slow else usual / 2)
    return float(np.median(firsts))


def _legs(run: Samples, length: float) -> list[Pass]:
    """Legs between turns; places count from the first turn: out runs up to `length`, back down from it."""
    turns = turns_of(run, length) if length >= SHORTEST_M else []
    count = len(turns) + 1
    if count < 2 or abs(run.distance_m[-1] - run.distance_m[turns[-1]] - length) > UNEVEN * length:
        return []
    bounds = [0, *turns, run.distance_m.size - 1]
    turned_m = [0.0, *(turn_distance(run, t) for t in turns)]
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
    lows: tuple[list[float], list[float]] = ([], [])  # where runs begin or end, and at turns
    highs: tuple[list[float], list[float]] = ([], [])
    for p in passes:
        r = runs[p.run]
        speed = r.speed_mps[p.first : p.last + 1]
        braking = np.gradient(speed, r.time_s[p.first : p.last + 1]) < -BRAKING_MPS2
        pushed = r.power_w[p.first : p.last + 1] > SOFT_SHARE * median_known(r.power_w)
        free = np.flatnonzero((speed > 0.6 * median_known(r.speed_mps)) & ~braking & pushed)
        if free.size < 20:
            continue
        turns = (p.first > 0, p.last < r.time_s.size - 1)[:: p.direction]
        lows[turns[0]].append(float(p.along_m[free].min()))
        highs[turns[1]].append(float(p.along_m[free].max()))
    if not any(lows):
        return np.zeros(0)
    low = max(float(np.percentile(some, 85)) for some in lows if some) + MARK_WINDOW_M
    high = min(float(np.percentile(some, 15)) for some in highs if some) - MARK_WINDOW_M - 5.0
    count = max(2, int(round((high - low) / STRETCH_M)))
    return np.linspace(low, high, count + 1)

"""Marks are places: cut every run into passes over the same course and align them by position.

Here belongs where a sample lies on the course. What happened between two marks belongs to `balance`.
A pass is one leg of an out and back, or all of a run's laps in one stroke; its `along_m` is the place on
the course (for laps unwound: the second lap goes on where the first ended).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.core.samples import Samples
from analysis.core.types import Array, Course

MARK_WINDOW_M = 20.0  # a mark is passed over this far on both sides: one speed sample's noise averages out
STRETCH_M = 100.0  # short enough to leave out what went wrong, long enough for the speed noise at its ends
BRAKING_MPS2 = 0.7  # no rider slows so fast without brakes on a rideable road
TURN_SPREAD_M = 3.0  # prior SD of where riders turn and start, before the satellites are asked
SCALE_PRIOR = 0.003  # prior SD of the wheel's circumference, relative (DESIGN section 7)


@dataclass(frozen=True, slots=True, eq=False)
class Pass:
    """Samples `first` to `last` (both included) of run `run`, ridden in `direction` (+1 out, -1 back)."""

    run: int  # index into the runs given
    direction: int
    first: int
    last: int
    along_m: Array  # [m] place on the course, one value for each sample, monotone in `direction`


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """All passes of a session over one set of marks."""

    passes: tuple[Pass, ...]
    marks_m: Array  # [m] places that cut the course into stretches, shape (k + 1,)
    closed: bool  # a lap: the last mark is the first
    wheel_scale: float  # true over stated circumference, by the satellites; 1 where they are silent
    wheel_scale_u: float  # its standard uncertainty
    offsets_u_m: float  # standard uncertainty of one pass's place [m]
    no_path: tuple[int, ...]  # runs (by index) in which no closed path was found
    reversed_runs: tuple[int, ...]  # runs (by index) ridden the other way round


def lay_out(runs: list[Samples], course: Course) -> Layout:
    """Passes of all runs, aligned, and the marks that they share.

    Parameters
    ----------
    runs : list[Samples]
        Prepared samples of the usable runs [1].
    course : Course
        Kind, length and bearing [1].

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
    passes, reversed_runs = _turned_round(runs, passes, course)
    passes, scale, scale_u, offsets_u = _aligned(runs, passes, period)
    marks = _lap_marks(period) if period is not None else _leg_marks(runs, passes)
    return Layout(tuple(passes), marks, closed, scale, scale_u, offsets_u, no_path, reversed_runs)


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
    limit = share * float(np.nanmedian(run.speed_mps))
    slow = np.nan_to_num(run.speed_mps, nan=np.inf) < limit
    edges = np.flatnonzero(np.diff(np.concatenate([[0], slow.astype(int), [0]])))
    spells = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if run.distance_m[a] > 50.0]
    return [
        a + int(np.nanargmin(run.speed_mps[a:b])) for a, b in spells if run.distance_m[-1] - run.distance_m[a] > 50.0
    ]


def _legs(run: Samples, length: float) -> list[Pass]:
    """Legs between turns; places count from the first turn: out runs up to `length`, back down from it."""
    count = int(round(run.distance_m[-1] / length))
    if count < 2 or abs(run.distance_m[-1] - count * length) > 0.25 * length:
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


def _turn_distance(run: Samples, slowest: int) -> float:
    """Distance at which braking became riding on: where the two lines of squared speed over distance meet.

    The slowest sample alone lies up to a second's way beside it, and rather after the turn than before.
    """
    d, v2 = run.distance_m, run.speed_mps**2
    before, after = slice(max(slowest - 4, 0), slowest), slice(slowest + 1, slowest + 5)
    here = float(d[slowest])
    if d[before].size < 3 or d[after].size < 3 or not np.isfinite(v2[slowest - 4 : slowest + 5]).all():
        return here
    if np.ptp(d[before]) < 1.0 or np.ptp(d[after]) < 1.0:
        return here
    down, up = np.polyfit(d[before] - here, v2[before], 1), np.polyfit(d[after] - here, v2[after], 1)
    if down[0] >= 0.0 or up[0] <= 0.0:
        return here
    meet = float((up[1] - down[1]) / (down[0] - up[0]))
    return here + float(np.clip(meet, d[max(slowest - 1, 0)] - here, d[min(slowest + 1, d.size - 1)] - here))


def _turn_near(run: Samples, expected_m: float, length: float) -> int | None:
    """The turn close to a distance: where the satellite tracks fold, else the slowest second."""
    near = np.flatnonzero(np.abs(run.distance_m - expected_m) < max(0.08 * length, 60.0))
    if near.size < 3:
        return None
    slowest = int(near[np.nanargmin(run.speed_mps[near])])
    folded = _fold(run, slowest, near)
    if run.speed_mps[slowest] > 0.75 * np.nanmedian(run.speed_mps) and folded is None:
        return None
    return slowest if folded is None else folded


def _fold(run: Samples, slowest: int, near: np.ndarray) -> int | None:
    """Index where the rider is farthest along the line of approach; None without satellites or a fold."""
    if run.east_m is None or run.north_m is None:
        return None
    d = run.distance_m
    for centre in (slowest, int(near[near.size // 2])):
        i = int(np.searchsorted(d, d[centre] - 60.0))
        j = min(int(np.searchsorted(d, d[centre] + 60.0)), d.size - 1)
        before = np.array([run.east_m[centre] - run.east_m[i], run.north_m[centre] - run.north_m[i]])
        after = np.array([run.east_m[j] - run.east_m[centre], run.north_m[j] - run.north_m[centre]])
        size = float(np.hypot(*before) * np.hypot(*after))
        if np.isfinite(size) and size > 400.0 and float(before @ after) < -0.5 * size:
            ahead = (run.east_m[near] * before[0] + run.north_m[near] * before[1]) / np.hypot(*before)
            return slowest if centre == slowest else int(near[np.nanargmax(ahead)])
    return None


def _laps(run: Samples, length: float) -> list[Pass]:
    """All laps of a run in one stroke; nothing where less than nine tenths of a lap was ridden."""
    count = int(round(run.distance_m[-1] / length))
    if count < 1 or abs(run.distance_m[-1] - count * length) > 0.12 * length * max(1, count) ** 0.5:
        return []
    return [Pass(0, 1, 0, run.distance_m.size - 1, run.distance_m.copy())]


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


def _turned_round(runs: list[Samples], passes: list[Pass], course: Course) -> tuple[list[Pass], tuple[int, ...]]:
    """Give passes ridden the other way round their true direction and place."""
    turned: list[int] = []
    facing = {}
    for p in passes:
        heading = _start_heading(runs[p.run], p)
        if heading is not None and p.first == 0:
            facing[p.run] = heading
    if not facing:
        return passes, ()
    usual = (
        sum(facing.values())
        if course.bearing_rad is None
        else np.array([np.sin(course.bearing_rad), np.cos(course.bearing_rad)])
    )
    turned = [
        i
        for i, h in facing.items()
        if float(h @ usual)
        < -0.5 * float(np.linalg.norm(usual)) / (1 if course.bearing_rad is not None else len(facing))
    ]
    if len(turned) == len(facing):  # then the stated bearing is wrong, not every rider
        return passes, ()
    total = max((float(np.max(p.along_m)) for p in passes), default=0.0)
    out = [replace(p, direction=-p.direction, along_m=total - p.along_m) if p.run in turned else p for p in passes]
    return out, tuple(turned)


def _start_heading(run: Samples, p: Pass) -> Array | None:
    if run.east_m is None or run.north_m is None:
        return None
    j = min(int(np.searchsorted(run.distance_m, run.distance_m[p.first] + 120.0)), p.last)
    i = min(int(np.searchsorted(run.distance_m, run.distance_m[p.first] + 5.0)), j)
    step = np.array([run.east_m[j] - run.east_m[i], run.north_m[j] - run.north_m[i]])
    size = float(np.hypot(*step))
    return step / size if np.isfinite(size) and size > 20.0 else None


def _aligned(runs: list[Samples], passes: list[Pass], period: float | None) -> tuple[list[Pass], float, float, float]:
    """Shift every pass so that its satellites lie where the others' do; the wheel's scale on the way."""
    located = [p for p in passes if runs[p.run].east_m is not None]
    if len(located) < 2:
        return passes, 1.0, SCALE_PRIOR, TURN_SPREAD_M
    scale, scale_u, spread = 1.0, SCALE_PRIOR, TURN_SPREAD_M
    for _ in range(2):
        grid, line = _line(runs, passes, period)
        moved = []
        errors = []
        for p in passes:
            offset, u = _offset(runs[p.run], p, grid, line, period)
            weight = TURN_SPREAD_M**2 / (TURN_SPREAD_M**2 + u**2)
            errors.append(np.sqrt(weight) * u)
            moved.append(replace(p, along_m=p.along_m + weight * offset))
        passes, spread = moved, float(np.mean(errors))
    grid, line = _line(runs, passes, period)
    scale, scale_u = _scale(grid, line, len(located))
    return passes, scale, scale_u, spread


def _line(runs: list[Samples], passes: list[Pass], period: float | None) -> tuple[Array, Array]:
    """The course as the mean of all satellite tracks: places every 10 m and east, north there."""
    place = [p.along_m if period is None else np.mod(p.along_m, period) for p in passes]
    top = max(float(x.max()) for x in place)
    bottom = min(float(x.min()) for x in place)
    cells = max(4, int((top - bottom) / 10.0))
    edges = np.linspace(bottom, top, cells + 1)
    total = np.zeros((3, cells))
    for p, x in zip(passes, place, strict=True):
        east, north = runs[p.run].east_m, runs[p.run].north_m
        if east is None or north is None:
            continue
        e, n = east[p.first : p.last + 1], north[p.first : p.last + 1]
        known = np.isfinite(e) & np.isfinite(n)
        cell = np.clip(np.searchsorted(edges, x[known], side="right") - 1, 0, cells - 1)
        total += np.array([np.bincount(cell, w, cells) for w in (np.ones(cell.size), e[known], n[known])])
    some = total[0] > 0
    grid = 0.5 * (edges[1:] + edges[:-1])[some]
    return grid, (total[1:] / np.maximum(total[0], 1))[:, some]


def _offset(run: Samples, p: Pass, grid: Array, line: Array, period: float | None) -> tuple[float, float]:
    """How far along the course the satellites of a pass lie ahead of its places, and how well that is known."""
    if run.east_m is None or run.north_m is None:
        return 0.0, 1e3
    x = p.along_m if period is None else np.mod(p.along_m, period)
    e, n = run.east_m[p.first : p.last + 1], run.north_m[p.first : p.last + 1]
    tangent = np.gradient(line, grid, axis=1)
    at = np.array([np.interp(x, grid, row) for row in (*line, *tangent)])
    size2 = np.maximum(at[2] ** 2 + at[3] ** 2, 0.25)
    ahead = ((e - at[0]) * at[2] + (n - at[1]) * at[3]) / size2
    inside = np.isfinite(ahead) & (x > grid[0] + 20.0) & (x < grid[-1] - 40.0) & (np.abs(ahead) < 60.0)
    if inside.sum() < 20:
        return 0.0, 1e3
    kept = ahead[inside]
    centred = kept - kept.mean()
    lagged = float(np.mean(centred[1:] * centred[:-1]) / max(np.mean(centred**2), 1e-12))
    rho = min(max(lagged, 0.0), 0.98)
    count = kept.size * (1.0 - rho) / (1.0 + rho)
    return float(kept.mean()), float(np.sqrt(centred.var() / max(count, 1.0)) + 0.3)


def _scale(grid: Array, line: Array, passes: int) -> tuple[float, float]:
    """True length over the wheel's, from chords of the mean track, shrunk with the circumference's prior."""
    hop = max(1, int(round(50.0 / float(np.median(np.diff(grid))))))
    at = np.arange(2, grid.size - 2, hop)
    if at.size < 3:
        return 1.0, SCALE_PRIOR
    steps = np.diff(line[:, at], axis=1)
    turned = np.abs(np.angle(np.exp(1j * np.diff(np.unwrap(np.arctan2(steps[0], steps[1]))))))
    half = 0.5 * np.concatenate([turned[:1], 0.5 * (turned[1:] + turned[:-1]), turned[-1:]])
    bent = np.where(half > 0.04, half / np.sin(np.clip(half, 1e-6, 1.2)), 1.0)  # a chord is shorter than its arc
    chords = np.hypot(*steps) * bent
    wheel = float(grid[at[-1]] - grid[at[0]])
    seen, u = float(chords.sum()) / wheel, 3.0 * np.sqrt(2.0 / passes) / wheel
    weight = SCALE_PRIOR**2 / (SCALE_PRIOR**2 + u**2)
    return 1.0 + weight * (seen - 1.0), float(np.sqrt(weight) * u)


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
            (speed > 0.6 * np.nanmedian(r.speed_mps)) & ~braking & (r.power_w[p.first : p.last + 1] > 0.0)
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

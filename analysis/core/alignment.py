"""The same place on every pass: shift passes along the course until their satellite tracks lie on one another.

A wheel that is off or a start a few metres late then costs nothing. Where the passes begin and end belongs to `course`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.core import leastsquares
from analysis.core.samples import Samples
from analysis.core.types import Array, IntArray, Mask
from analysis.core.wandering import Split, half_squares, kept_by_mean, split

TURN_SPREAD_M = 5.0  # prior SD of where riders turn and start, before the satellites are asked
TURN_READ_M = 0.5  # of one turn's place as the wheel tells it, against the other turns (common practice, no source)
AHEAD_M = 2.0  # of the way round a turn, alike at all of them (common practice, no source)
USUAL_WANDER_M, USUAL_WANDER_S = 3.0, 60.0  # of a receiver in the open (common practice, no source)
UNKNOWN_M = 1e3
TRACK_END_M = 4.5  # of one pass, at either end of its track (measured on simulated sessions)
CHORD_M = 50.0  # of the mean track, for its length
CORNER_M, CORNER_RAD = 20.0, np.radians(20.0)  # a way, and by how much the next one turns in a corner: 57 m of radius
REACH_M = 100.0  # between two fixes of a pass that tell the places between them
LAGS_S = np.array([1, 2, 4, 7, 12, 20, 30, 45, 60, 80])
SCALE_PRIOR = 0.003  # prior SD of the wheel's circumference, relative (DESIGN section 7)


@dataclass(frozen=True, slots=True, eq=False)
class Pass:
    """Samples `first` to `last` (both included) of run `run`, ridden in `direction` (+1 out, -1 back).

    One leg of an out and back, or all of a run's laps in one stroke: for laps `along_m` is unwound, the second
    lap goes on where the first ended.
    """

    run: int  # index into the runs given
    direction: int
    first: int
    last: int
    along_m: Array  # [m] place on the course, one value for each sample, monotone in `direction`


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Passes laid on one another, and how far each of their places is trusted."""

    passes: tuple[Pass, ...]
    wheel_scale: float  # true over stated circumference
    wheel_scale_u: float  # its standard uncertainty
    run_u_m: float  # of where a run lies on the course, all its legs alike [m]
    leg_u_m: float  # of where one leg lies beside that, along its travel [m]
    ahead_u_m: float  # of all legs alike along their travel: out and back apart by twice as much [m]


def aligned(runs: list[Samples], passes: list[Pass], period: float | None) -> Places:
    """Shift every pass so that its satellites lie where the others' do; the wheel's scale on the way.

    The legs of a run hang together by the wheel, which tells their turn to half a metre, while the satellites wander
    by metres within a leg. So a run has a place, its legs a small one of their own, and all legs alike may lie ahead.

    Parameters
    ----------
    runs : list[Samples]
        Prepared samples of the usable runs [1].
    passes : list[Pass]
        As the wheel and the turns place them [m].
    period : float | None
        Length of a lap, None for out and back [m].

    Returns
    -------
    Places
        Passes shifted, and what is doubtful about them [m].
    """
    located = [p for p in passes if runs[p.run].east_m is not None]
    if len(located) < 2:
        return Places(tuple(passes), 1.0, SCALE_PRIOR, TURN_SPREAD_M, TURN_READ_M, AHEAD_M)
    shifts = np.zeros(len(passes))
    laid = passes
    for _ in range(2):
        grid, line = _line(runs, laid, period)
        course = np.vstack([line, np.gradient(line, grid, axis=1)])
        ahead = [_ahead(runs[p.run], p, grid, course, period) for p in laid]
        offset, error = _means(runs, laid, ahead)
        shifts, doubts = _hung_together(laid, shifts + offset, error)
        laid = [replace(p, along_m=p.along_m + float(s)) for p, s in zip(passes, shifts, strict=True)]
    grid, line = _line(runs, laid, period)
    scale, scale_u = _scale(grid, line, len(located), doubts[0])
    return Places(tuple(laid), scale, scale_u, *doubts)


def _hung_together(passes: list[Pass], offset: Array, error: Array) -> tuple[Array, tuple[float, float, float]]:
    """Likeliest shift of every pass, and the doubts about runs, legs and all legs alike."""
    run = np.array([p.run for p in passes])
    way = np.array([float(p.direction) for p in passes])
    which = np.unique(run)
    cause = np.column_stack([(run[:, None] == which).astype(float), way, np.diag(way)])
    prior = np.concatenate([np.full(which.size, TURN_SPREAD_M), [AHEAD_M], np.full(way.size, TURN_READ_M)])
    found = leastsquares.solve(cause / error[:, None], offset / error, sd=prior)
    doubt = np.sqrt(np.diag(found.covariance))
    of_runs, ahead, of_legs = doubt[: which.size], doubt[which.size], doubt[which.size + 1 :]
    return cause @ found.theta, (float(np.mean(of_runs)), float(np.mean(of_legs)), float(ahead))


def _line(runs: list[Samples], passes: list[Pass], period: float | None) -> tuple[Array, Array]:
    """The course as the mean of all satellite tracks: places every 10 m and east, north there.

    Every pass is read at every place: where samples are few, a mean of whichever happen to lie near would leap from
    the wander of one pass to that of another.
    """
    bottom = 0.0 if period is not None else min(float(p.along_m.min()) for p in passes)
    top = period if period is not None else max(float(p.along_m.max()) for p in passes)
    cells = max(4, int((top - bottom) / 10.0))
    width = (top - bottom) / cells
    grid = np.asarray(bottom + width * (np.arange(cells) + 0.5), dtype=np.float64)
    total = np.zeros((3, cells))
    for p in passes:
        east, north = runs[p.run].east_m, runs[p.run].north_m
        if east is None or north is None:
            continue
        track = _thinned(p.along_m - bottom, east[p.first : p.last + 1], north[p.first : p.last + 1], width)
        if track.shape[1] < 2:
            continue
        laps = range(int(track[0, 0] // (top - bottom)), int(track[0, -1] // (top - bottom)) + 1) if period else (0,)
        for lap in laps:
            total += _read(track, np.asarray(grid - bottom + lap * (top - bottom)))
    some = total[0] > 0
    return grid[some], (total[1:] / np.maximum(total[0], 1))[:, some]


def _thinned(along: Array, east: Array, north: Array, width: float) -> Array:
    """Means of place, east and north over cells of the place, in order of the place, shape (3, n)."""
    known = np.isfinite(east) & np.isfinite(north)
    if not known.any():
        return np.zeros((3, 0))
    cell = np.floor(along[known] / width).astype(int)
    cell -= cell.min()
    count = np.bincount(cell)
    some = count > 0
    return np.array([np.bincount(cell, x[known])[some] / count[some] for x in (along, east, north)])


def _read(track: Array, at: Array) -> Array:
    """One, east and north of a track at places; zeros where no fix is near on both sides, shape (3, n)."""
    after = np.searchsorted(track[0], at)
    inside = (after > 0) & (after < track.shape[1])
    after = np.clip(after, 1, track.shape[1] - 1)
    inside &= track[0, after] - track[0, after - 1] < REACH_M
    east, north = (np.interp(at, track[0], x) for x in track[1:])
    return np.asarray(np.array([np.ones(at.size), east, north]) * inside)


def _ahead(run: Samples, p: Pass, grid: Array, course: Array, period: float | None) -> Array:
    """How far along the course each satellite fix of a pass lies ahead of its place, NaN where that is not told.

    `course` has east, north and their growth with the place, a row each.
    """
    if run.east_m is None or run.north_m is None:
        return np.full(p.along_m.size, np.nan)
    x = p.along_m if period is None else np.mod(p.along_m, period)
    e, n = run.east_m[p.first : p.last + 1], run.north_m[p.first : p.last + 1]
    at = np.array([np.interp(x, grid, row) for row in course])
    size2 = np.maximum(at[2] ** 2 + at[3] ** 2, 0.25)
    ahead = ((e - at[0]) * at[2] + (n - at[1]) * at[3]) / size2
    inside = np.isfinite(ahead) & (x > grid[0] + 20.0) & (x < grid[-1] - 40.0) & (np.abs(ahead) < 60.0)
    return np.where(inside, ahead, np.nan)


def _means(runs: list[Samples], passes: list[Pass], ahead: list[Array]) -> tuple[Array, Array]:
    """Mean of every pass and its standard uncertainty: a fix's error wanders for a minute, so few of them are new."""
    fix = _wander([runs[p.run].time_s[p.first : p.last + 1] for p in passes], ahead)
    mean, error = np.zeros(len(passes)), np.full(len(passes), UNKNOWN_M)
    for i, (p, values) in enumerate(zip(passes, ahead, strict=True)):
        known = np.isfinite(values)
        if known.sum() < 20:
            continue
        time = runs[p.run].time_s[p.first : p.last + 1][known]
        kept = float(kept_by_mean(float(time[-1] - time[0]) / fix.time_s))
        mean[i] = float(np.mean(values[known]))
        error[i] = float(np.sqrt(fix.wander**2 * kept + fix.white**2 / known.sum() + 0.1**2))
    return mean, error


def _wander(times: list[Array], ahead: list[Array]) -> Split:
    """White and wandering error of a fix, by half the mean squares of differences over all passes."""
    series = []
    for time, values in zip(times, ahead, strict=True):
        even = np.arange(time[0], time[-1] + 0.5)
        series.append(values[np.searchsorted(time, even).clip(0, time.size - 1)])  # about a second apart
    half, count = half_squares(series, LAGS_S)
    seen = count > 20
    if seen.sum() < 4:
        return Split(0.5, USUAL_WANDER_M, USUAL_WANDER_S)
    half, lag = half[seen], LAGS_S[seen]
    weight = np.sqrt(count[seen] / lag) / np.maximum(half, 1e-6)
    return split(half, weight, np.geomspace(15.0, 120.0, 13), lambda time_s: 1.0 - np.exp(-lag / time_s))


def _scale(grid: Array, line: Array, passes: int, misplaced_m: float) -> tuple[float, float]:
    """True length over the wheel's, from chords of the mean track, shrunk with the circumference's prior.

    A chord of h metres is shorter than its arc by the square of h times the curvature, over 24: chords of twice the
    length tell how much. The mean over a cell, and over passes laid beside one another, cuts bends likewise. A corner
    tighter than a chord is long is cut by more than that, so that what holds one tells nothing.
    """
    cell = float(np.median(np.diff(grid)))
    hop = max(1, round(CHORD_M / cell))
    at = np.arange(2, grid.size - 2, hop)
    at = at[: (at.size - 1) // 2 * 2 + 1]
    if at.size < 3:
        return 1.0, SCALE_PRIOR
    gentle = ~_cornered(grid, line, at[::2])
    if not gentle.any():
        return 1.0, SCALE_PRIOR
    chords, double = (np.hypot(*np.diff(line[:, some], axis=1)) for some in (at, at[::2]))
    chords = chords.reshape(-1, 2).sum(axis=1)
    cut = (cell**2 + 12.0 * misplaced_m**2) / (hop * cell) ** 2
    bent = (chords - double) / 3.0 * (1.0 + cut)
    wheel = float(np.diff(grid[at[::2]])[gentle].sum())
    parts = 1 + int(np.sum(np.diff(np.flatnonzero(gentle)) > 1))  # each with ends of its own
    seen, u = float((chords + bent)[gentle].sum()) / wheel, TRACK_END_M * np.sqrt(2.0 * parts / passes) / wheel
    weight = SCALE_PRIOR**2 / (SCALE_PRIOR**2 + u**2)
    return 1.0 + weight * (seen - 1.0), float(np.sqrt(weight) * u)


def _cornered(grid: Array, line: Array, at: IntArray) -> Mask:
    """Whether the track turns sharply anywhere between one place and the next."""
    step = max(1, round(CORNER_M / float(np.median(np.diff(grid)))))
    way = line[:, step:] - line[:, :-step]
    before, after = way[:, :-step], way[:, step:]
    turned = np.abs(np.arctan2(before[0] * after[1] - before[1] * after[0], np.sum(before * after, axis=0)))
    sharp = np.pad(turned > CORNER_RAD, step)
    return np.array([bool(sharp[i : j + 1].any()) for i, j in zip(at[:-1], at[1:], strict=True)])

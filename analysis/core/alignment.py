"""The same place on every pass: shift passes along the course until their satellite tracks lie on one another.

A wheel that is off or a start a few metres late then costs nothing. Where the passes begin and end belongs to `course`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.core.samples import Samples
from analysis.core.types import Array

TURN_SPREAD_M = 3.0  # prior SD of where riders turn and start, before the satellites are asked
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


def aligned(runs: list[Samples], passes: list[Pass], period: float | None) -> tuple[list[Pass], float, float, float]:
    """Shift every pass so that its satellites lie where the others' do; the wheel's scale on the way.

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
    tuple
        Passes shifted [m], true over stated circumference and its standard uncertainty [1], the standard
        uncertainty of one pass's place [m].
    """
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

"""Lulls in the air that no gust of the session makes: what a passing vehicle leaves behind.

A vehicle takes air along for some seconds. Air speed less ground speed is whitened by the session's own gusts and
sensor noise, and half sine waves of a few lengths are sought in it. Rider and sensor seldom meet the same wake, so that
a smaller lull counts where the energy of its stretch is odd as well. Energies belong to `balance`.
"""

from __future__ import annotations

import numpy as np

from analysis.core.alignment import Pass
from analysis.core.bends import bearing, turning
from analysis.core.course import Layout
from analysis.core.gusts import Gusts
from analysis.core.samples import Samples, median_known
from analysis.core.stretches import Stretches
from analysis.core.types import Array, Mask

LENGTHS_S = (4.0, 6.0, 9.0, 12.0)  # of a wake (common practice, no source)
LULL_Z, SUSPECT_Z, SUSPECT_ODD = 5.4, 3.8, 3.5  # false in about one of a hundred clean sessions (simulated, wide world)
HEARD_Z = 2.5  # what is smaller counts as nothing
USUAL_S = 2400.0  # of riding, for which that holds: in more, more is met by chance
HARD_MPS2, HARD_S = 0.45, 3.0  # beside a brake a late air sensor shows what is no wind
LEAST_S = 40.0  # of a pass
LEAST_SEEN = 0.6  # of a wake, in squares
MEMORY_S = 80  # after which the whitening has forgotten


def unlike_gusts(runs: list[Samples], layout: Layout, kept: list[Mask], gain: float, gusts: Gusts) -> list[Array]:
    """How far the air about each sample is from what gusts make: negative in a lull, in its standard deviations.

    Parameters
    ----------
    runs : list of Samples
        Prepared samples of the usable runs, with air speed [1].
    layout : Layout
        Passes and marks [m].
    kept : list of ndarray
        For each run the samples that count [1].
    gain : float
        The air sensor's, roughly [1].
    gusts : Gusts
        Of the session, along the travel [m/s].

    Returns
    -------
    list of ndarray
        For each run the largest of all waves that hold the sample, 0 where none is heard, shape (n,) [1].

    References
    ----------
    Matched filter in coloured noise: whitening by the innovations of an autoregression seen through white noise,
    which are those of an ARMA(1, 1).
    """
    out = [np.zeros(r.time_s.size) for r in runs]
    heard_of = [_series(runs[p.run], p, kept[p.run], layout, gain) for p in layout.passes]
    found = [series for series in heard_of if series is not None]
    if not found or gusts.sd_mps <= 0.0:
        return out
    keep = float(np.exp(-1.0 / max(gusts.time_s, 0.7)))
    every_s = min(float(np.median([median_known(r.step_s[1:]) for r in runs])), 1.0)
    echo = _echo(keep, gusts.sd_mps**2 * (1.0 - keep**2), every_s * gusts.noise_mps**2)  # of a second's mean
    response = np.concatenate([[1.0], (echo - keep) * echo ** np.arange(MEMORY_S)])
    white = [np.convolve(air, response)[: air.size] for _, _, air, _ in found]
    heard = np.concatenate([w[known] for w, (_, _, _, known) in zip(white, found, strict=True)])
    scale = max(1.4826 * float(np.median(np.abs(heard))), 1e-6)
    spare = max(float(sum(known.sum() for *_, known in found)) / USUAL_S, 1.0)
    loud = [w * known / scale for w, (*_, known) in zip(white, found, strict=True)]
    told = [known.astype(float) for *_, known in found]
    for length in LENGTHS_S:
        steps = int(length) + 1
        wake = np.concatenate([np.sin(np.pi * (np.arange(steps) + 0.5) / steps), np.zeros(3)])
        shape = np.convolve(wake, response)[: wake.size]
        square = shape**2
        for w, known, (run, time, *_) in zip(loud, told, found, strict=True):
            seen = np.correlate(known, square, "valid")  # of the wake's shape; gaps tell nothing
            z = np.correlate(w, shape, "valid") / np.sqrt(np.maximum(seen, 1e-9))
            z[seen < LEAST_SEEN * float(shape @ shape)] = 0.0
            z = np.sign(z) * np.sqrt(np.maximum(z**2 - 2.0 * np.log(spare), 0.0))  # as rare as in usual riding
            heard_at = np.flatnonzero(np.abs(z) > HEARD_Z)
            ends = np.searchsorted(runs[run].time_s, time[heard_at] + np.array([[-1.0], [steps]])).T.tolist()
            for k, (first, last) in zip(heard_at.tolist(), ends, strict=True):
                part = out[run][first : last + 1]
                np.copyto(part, z[k], where=np.abs(part) < abs(z[k]))
    return out


def suspects(air_z: list[Array], runs: list[Samples], rows: Stretches, score: Array) -> list[Mask]:
    """Samples in smaller lulls whose stretch has an odd energy as well.

    Parameters
    ----------
    air_z : list of ndarray
        As `unlike_gusts` gives them [1].
    runs : list of Samples
        Prepared samples of the usable runs [1].
    rows : Stretches
        All stretches [1].
    score : ndarray, shape (n,)
        How far the energy of each stretch lies from its twins, in standard deviations [1].

    Returns
    -------
    list of ndarray
        For each run a bool array of shape (n,) [1].
    """
    out = [np.zeros(z.size, dtype=bool) for z in air_z]
    for k in np.flatnonzero(rows.sound & (np.abs(np.nan_to_num(score)) > SUSPECT_ODD)).tolist():
        run = int(rows.run[k])
        odd = rows.samples(k, runs[run].time_s)
        if air_z[run][odd].min(initial=0.0) < -SUSPECT_Z:
            out[run][odd] = True
    return out


def _series(r: Samples, ride: Pass, kept: Mask, layout: Layout, gain: float) -> tuple[int, Array, Array, Mask] | None:
    """Headwind of one pass each second about its level: run, time, headwind, where it is known."""
    assert r.air_mps is not None
    own = np.arange(ride.first, ride.last + 1)
    own = own[kept[own]]
    if own.size < 2 or r.time_s[own[-1]] - r.time_s[own[0]] < LEAST_S:
        return None
    speed = np.nan_to_num(r.speed_mps)
    hard = r.time_s[np.abs(np.gradient(speed, r.time_s)) > HARD_MPS2]
    headwind = r.air_mps / gain - 0.5 * (speed + np.concatenate([speed[:1], speed[:-1]]))
    known = np.isfinite(headwind) & r.sound
    if known[own].sum() < 0.5 * own.size:
        return None
    time = np.arange(r.time_s[own[0]], r.time_s[own[-1]] + 0.5)
    edges = np.concatenate([time - 0.5, time[-1:] + 0.5])
    cell = np.searchsorted(edges, r.time_s[known], side="right") - 1
    inside = (cell >= 0) & (cell < time.size)
    count = np.bincount(cell[inside], minlength=time.size)
    there = count > 0
    if hard.size:
        next_hard = np.searchsorted(hard, time)
        before, after = hard[np.maximum(next_hard - 1, 0)], hard[np.minimum(next_hard, hard.size - 1)]
        there &= np.minimum(np.abs(time - before), np.abs(time - after)) > HARD_S
    if there.sum() < LEAST_S / 2:
        return None
    means = np.bincount(cell[inside], headwind[known][inside], time.size) / np.maximum(count, 1)
    air = np.interp(time, time[there], means[there])
    if layout.closed:
        laps = np.interp(time, r.time_s[own], ride.along_m[own - ride.first]) / layout.marks_m[-1]
        ways = np.array([np.interp(time, r.time_s, x) for x in bearing(r)]).reshape(-1, time.size)
        air = air - turning(air, laps, ways, waves=True)
    return ride.run, time, air - median_known(air), there


def _echo(keep: float, fresh: float, noise: float) -> float:
    """Moving-average coefficient of an autoregression seen through white noise."""
    if noise <= 0.0:
        return 0.0
    ratio = (fresh + noise * (1.0 + keep**2)) / (noise * keep)
    return float(0.5 * (ratio - np.sqrt(ratio**2 - 4.0)))

"""What wanders and is forgotten exponentially: gusts, a receiver's error. Split from white noise, and kept by means.

Whose wandering it is belongs to the callers (`airsensor`, `alignment`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from analysis.core.types import Array, IntArray


@dataclass(frozen=True, slots=True)
class Split:
    """White and wandering part of a series, as standard deviations in its unit."""

    white: float
    wander: float
    time_s: float


def kept_by_mean(lengths: Array | float) -> Array:
    """Share of a wandering error's variance that its mean keeps.

    Parameters
    ----------
    lengths : ndarray or float
        Length of the mean over the time of the wandering [1].

    Returns
    -------
    ndarray
        Share of the variance [1].

    References
    ----------
    Taylor (1922), Proc. London Math. Soc. 20:196-212: the integral of an exponential correlation.
    """
    x = np.maximum(lengths, 1e-9)
    return np.asarray(2.0 / x * (1.0 - (1.0 - np.exp(-x)) / x))


def half_squares(series: Iterable[Array], lags: IntArray) -> tuple[Array, IntArray]:
    """Structure function: half the mean square of differences at each lag, NaN where a series has a gap.

    Parameters
    ----------
    series : iterable of ndarray
        Each even in time, gaps as NaN [any unit].
    lags : ndarray of int, shape (k,)
        In samples [1].

    Returns
    -------
    tuple of ndarray
        Half mean squares [squared unit] and the number of differences, shape (k,) [1].
    """
    total, count = np.zeros(lags.size), np.zeros(lags.size, dtype=np.intp)
    apart = np.full(int(lags.max()), np.nan)  # no difference reaches from one series into the next
    x = np.concatenate([part for one in series for part in (one, apart)] or [apart])
    for j, lag in enumerate(lags):
        d = x[lag:] - x[:-lag]
        d = d[np.isfinite(d)]
        total[j], count[j] = 0.5 * float(d @ d), d.size
    return total / np.maximum(count, 1), count


def split(half: Array, weight: Array, times_s: Array, grown: Callable[[float], Array]) -> Split:
    """White and wandering part of half mean squares, the likeliest of some times.

    Parameters
    ----------
    half : ndarray, shape (k,)
        Structure function [squared unit].
    weight : ndarray, shape (k,)
        Inverse standard deviations, up to a factor [1 per squared unit].
    times_s : ndarray
        Times of the wandering to try [s].
    grown : callable
        From a time [s] to the share of the wandering's variance that has grown at each lag, shape (k,) [1].

    Returns
    -------
    Split
        Standard deviations [unit] and time [s].
    """
    basis = np.stack([np.stack([np.ones(half.size), grown(float(time_s))], axis=1) for time_s in times_s])
    found = np.maximum(np.linalg.pinv(basis * weight[:, None]) @ (half * weight), 0.0)
    miss = np.sum((weight * (half - np.einsum("tkp,tp->tk", basis, found))) ** 2, axis=1)
    best = int(np.argmin(miss))
    white, wander = np.sqrt(found[best])
    return Split(float(white), float(wander), float(times_s[best]))

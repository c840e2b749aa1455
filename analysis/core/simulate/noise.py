"""Errors that wander: one first-order filter for all of them. What they are added to belongs to the callers."""

from __future__ import annotations

import math

import numpy as np

from analysis.core.types import Array


def first_order(fresh: Array, keep: float, start: Array | float) -> Array:
    """Filter `y[k] = keep y[k-1] + fresh[k]`.

    Parameters
    ----------
    fresh : ndarray, shape (n,) or (n, m)
        What is new in each step [1].
    keep : float
        Share of the last value that stays [1].
    start : ndarray or float
        Value before the first step [1].

    Returns
    -------
    ndarray, shape of `fresh`
        The filtered series [1].
    """
    out, value = np.empty_like(fresh), start
    for k, new in enumerate(fresh):
        value = keep * value + new
        out[k] = value
    return out


def wandering(n: int, sd: float, time_s: float, rng: np.random.Generator) -> Array:
    """A stationary first-order error, one value a second.

    Parameters
    ----------
    n : int
        Length [1].
    sd : float
        Standard deviation [1].
    time_s : float
        Correlation time [s].
    rng : numpy.random.Generator

    Returns
    -------
    ndarray, shape (n,)
        The error [1].
    """
    keep = math.exp(-1 / time_s)
    fresh = rng.normal(size=n) * sd * math.sqrt(1 - keep * keep)
    return first_order(fresh, keep, sd * float(rng.normal()))

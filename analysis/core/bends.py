"""A steady wind on a lap: it turns from the front to the back with every bend, and is no gust.

What gusts are left is measured in `airsensor`, what no gust makes is sought in `lulls`.
"""

from __future__ import annotations

import numpy as np

from analysis.core.samples import Samples
from analysis.core.types import Array

LAP_WAVES = 10  # round a lap: as short as a bend, in which a steady wind turns from the front to the back
WAY_S = 1.5  # before and after: fixes tell the way, and a corner lasts longer


def turning(x: Array, laps: Array, way: Array, *, waves: bool) -> Array:
    """The part of a lap's headwind that comes from turning through a steady wind.

    It goes with the way and, for a sensor that comes late, with the way's change. Waves of the place on the lap take
    what else is slow; of a run of one lap they take gusts along.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Headwind [m/s].
    laps : ndarray, shape (n,)
        Place on the course, in laps [1].
    way : ndarray, shape (k, n)
        East and north of the way and their change, as `bearing` gives them; no row where it is not known [1].
    waves : bool
        Whether waves of the place are taken off as well; always where the way is not known [1].

    Returns
    -------
    ndarray, shape (n,)
        The smooth part [m/s].
    """
    phase = 2.0 * np.pi * laps
    most = min(LAP_WAVES, x.size // 12) if waves or not way.size else 0
    shapes = (f(k * phase) for k in range(1, most + 1) for f in (np.sin, np.cos))
    basis = np.column_stack([np.ones(x.size), *shapes, *way])
    return np.asarray(basis @ np.linalg.lstsq(basis, x, rcond=None)[0])


def bearing(r: Samples) -> Array:
    """East and north of a rider's way, and how fast they change; no row where no positions are recorded.

    Parameters
    ----------
    r : Samples
        Prepared samples, shape (n,) [1].

    Returns
    -------
    ndarray, shape (4, n) or (0, n)
        Unit vector [1] and its change [1/s].
    """
    if r.east_m is None or r.north_m is None:
        return np.zeros((0, r.time_s.size))
    known = np.isfinite(r.east_m + r.north_m)
    at = r.time_s + np.array([[-WAY_S], [WAY_S]])
    e, n = (np.diff(np.interp(at, r.time_s[known], x[known]), axis=0)[0] for x in (r.east_m, r.north_m))
    way = np.array([e, n]) / np.maximum(np.hypot(e, n), 1.0)
    return np.vstack([way, np.gradient(way, r.time_s, axis=1)])

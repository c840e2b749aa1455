"""What a channel shows by itself to be an instrument's: blinks, leaps, a stuck sensor, one at the end of its range."""

from __future__ import annotations

import numpy as np

from analysis.core.types import Array, Mask

BLOCKED_SHARE = 0.07  # of the ground speed: no rideable tail wind leaves so little air
BLOCKED_SPREAD_MPS = 0.3
BLOCKED_S = 8.0  # a sensor that says the same, or nothing, for this long is blocked
TOP_LEAST, TOP_TIMES = 5, 4  # arrivals at the highest value, and how many times those at the next one below
LEAP_W, LEAP_SHARE = 400.0, 1.5  # above its neighbours and of the usual power: a meter's, if the wheel did not feel it
LEAP_AIR_MPS = 6.0  # no gust comes and goes so within two seconds (common practice, no source)
LEAP_MPS = 3.0  # of the wheel in a second: more than brakes and tyres can do, there and back


def blocked_air(time_s: Array, air: Array, speed: Array) -> Mask:
    """Samples in spells where the air sensor is stuck or nearly silent while the bicycle moves.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Time [s].
    air : ndarray, shape (n,)
        Air speed as sensed [m/s].
    speed : ndarray, shape (n,)
        Speed over the ground [m/s].

    Returns
    -------
    ndarray, shape (n,)
        True inside such spells [1].
    """
    stuck = np.concatenate([[False], np.abs(np.diff(air)) < 1e-9]) & (speed > 3.0)
    riding = speed > 0.7 * float(np.median(speed))  # at a turn a tail wind may well be as fast as the rider
    silent = stuck | ((np.abs(air) < BLOCKED_SHARE * speed) & riding)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], silent.astype(int), [0]])))
    out = np.zeros(silent.size, dtype=bool)
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        even = float(np.std(air[start:stop])) < BLOCKED_SPREAD_MPS  # moving air is never so even
        if even and time_s[min(stop, time_s.size - 1)] - time_s[start] >= BLOCKED_S:
            out[start:stop] = True
    return out


def at_its_top(air: Array) -> Mask:
    """Samples at the highest value of an air sensor that can read no more: it comes there far more often than below.

    A value that a recorder repeats until the next one comes counts once.

    Parameters
    ----------
    air : ndarray, shape (n,)
        Air speed as sensed [m/s].

    Returns
    -------
    ndarray, shape (n,)
        True where the true value may be higher; nowhere for a sensor within its range [1].
    """
    known = air[np.isfinite(air)]
    values, often = np.unique(known[np.diff(known, prepend=np.inf) != 0.0], return_counts=True)
    if values.size < 2 or often[-1] < max(TOP_LEAST, TOP_TIMES * often[-2]):
        return np.zeros(air.size, dtype=bool)
    return np.asarray(air >= values[-1])


def without_blinks(power_w: Array, usual_w: float) -> Array:
    """Power without zeros of a sample or two between full power: no rider stops so briefly, a meter does.

    Parameters
    ----------
    power_w : ndarray, shape (n,)
        Power [W].
    usual_w : float
        Its median [W].

    Returns
    -------
    ndarray, shape (n,)
        NaN in such blinks [W].
    """
    out = power_w.copy()
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (power_w <= 0.0).astype(int), [0]])))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        inside = start > 0 and stop < power_w.size and stop - start <= 2
        if inside and min(power_w[start - 1], power_w[stop]) > 0.7 * usual_w:
            out[start:stop] = np.nan
    return out


def leapt_power(power_w: Array, speed_mps: Array, step_s: Array, mass_kg: float, usual_w: float) -> Mask:
    """Samples of power far above what is around them, whose work the wheel did not feel.

    Parameters
    ----------
    power_w, speed_mps, step_s : ndarray, shape (n,)
        Power, speed over the ground, time since the sample before [W, m/s, s].
    mass_kg : float
        Of the moving system, NaN where it is unknown [kg].
    usual_w : float
        Median of the power [W].

    Returns
    -------
    ndarray, shape (n,)
        True at such samples [1].
    """
    above = _leaps(power_w, max(LEAP_W, LEAP_SHARE * usual_w))
    return above & ~_felt(power_w, speed_mps, step_s, mass_kg)


def tame(values: Array, most: float) -> Array:
    """Values without single samples, or pairs, that leap from what is around them.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Of any channel [any unit].
    most : float
        The leap that is still believed, in the unit of `values` [1].

    Returns
    -------
    ndarray, shape (n,)
        NaN where a value leapt, in the unit of `values` [1].
    """
    return np.where(_leaps(values, most) | _leaps(-values, most), np.nan, values)


def _leaps(values: Array, most: float) -> Mask:
    """Samples above the median of the five about them by more than `most`: an edge or a wide peak has none."""
    if values.size < 5:
        return np.zeros(values.size, dtype=bool)
    ends = np.concatenate([values[[0, 0]], values, values[[-1, -1]]])
    about = np.lib.stride_tricks.sliding_window_view(ends, 5)
    above = np.zeros(values.size, dtype=bool)
    far = np.flatnonzero(values - np.fmin.reduce(about, axis=1) > most)  # few: the median costs more
    if far.size:
        above[far] = values[far] - _medians(about[far]) > most
    return above


def _medians(rows: Array) -> Array:
    """Median of what is known in each row: numpy's, for short rows, costs as much as a whole channel otherwise."""
    ordered = np.sort(rows, axis=1)  # what is not known comes last
    known, at = np.sum(~np.isnan(rows), axis=1), np.arange(len(rows))
    return np.asarray(0.5 * (ordered[at, (known - 1) // 2] + ordered[at, known // 2]))


def _felt(power_w: Array, speed_mps: Array, step_s: Array, mass_kg: float) -> Mask:
    """Samples whose work the wheel felt: half of it at least is in the motion two samples later."""
    sooner, later = (np.clip(np.arange(power_w.size) + k, 0, power_w.size - 1) for k in (-1, 2))
    gained = 0.5 * mass_kg * (speed_mps[later] ** 2 - speed_mps[sooner] ** 2)
    return np.asarray(gained > 0.5 * power_w * step_s)

"""Did the air sensor's gain move, and since when: by the mount's tilt where it was recorded, else by time.

A stated rule: with tilt, a mount that moved (one in a thousand by chance, and more than a tenth of a degree)
gets a gain that follows its smoothed tilt. Without tilt, bends and slips at every run are weighed against no
drift at all; the closure of every run tells a sag from a rider who tires, whose drift has its own prior.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import chdtrc

from analysis.core.joint import Drift, Evidence, Joint, Model
from analysis.core.samples import IntArray
from analysis.core.types import Array, Repeatability

TILT_GAIN_SD = 3.0  # [1/rad] prior SD of relative gain by tilt: 5 % a degree
TILT_CHANCE = 1e-3
TILT_LEAST_RAD = np.radians(0.1)
TILT_FLOOR_RAD = np.radians(0.02)
BEND_SD = 0.04  # [1/h] prior SD of a sagging gain
SLIP_SD = 0.03  # prior SD of a sudden change of the gain
ODDS_NEEDED = 3.0  # log of the mean likelihood ratio for a drift without tilt


def choose(
    evidence: Evidence, tilt: tuple[Array, Array] | None, history: Repeatability | None, *, allowed: bool = True
) -> Joint:
    """The run-level model with the drift of the gain that the rule allows, solved.

    Parameters
    ----------
    evidence : Evidence
        What each run says [1].
    tilt : tuple[ndarray, ndarray] | None
        Mount tilt of every run and its standard uncertainty [rad].
    history : Repeatability | None
        The studio's repeatability [m2].
    allowed : bool
        Whether the gain may drift at all [1].

    Returns
    -------
    Joint
        The solution [1].
    """
    still = Drift(np.zeros(evidence.setup.size), 1.0)
    steady = Model(evidence, still, history).solve()
    if evidence.log_gain is None or evidence.setup.size < 3 or not allowed:
        return steady
    if tilt is not None and np.isfinite(tilt[0]).all():
        drift = by_tilt(
            evidence.time_h, *tilt, np.asarray(evidence.near_sensor[evidence.setup] * evidence.setup, dtype=np.intp)
        )
        return steady if drift is None else Model(evidence, drift, history).solve()
    return _by_time(evidence, steady, history)


def by_tilt(time_h: Array, tilt_rad: Array, error_rad: Array, state: IntArray) -> Drift | None:
    """Gain that follows the smoothed tilt, where the mount moved; None where it stood still.

    Parameters
    ----------
    time_h : ndarray, shape (runs,)
        Middle of each run [h].
    tilt_rad : ndarray, shape (runs,)
        Mount tilt [rad].
    error_rad : ndarray, shape (runs,)
        Standard uncertainty of it [rad].
    state : ndarray of int, shape (runs,)
        Which position or cockpit was ridden: each may hold the sensor at its own angle [1].

    Returns
    -------
    Drift or None
        Shape in tilt since the start [rad].
    """
    error = np.hypot(error_rad, TILT_FLOOR_RAD)
    groups = (state[:, None] == np.unique(state)).astype(float)
    if tilt_rad.size - groups.shape[1] < 2:
        return None
    mean = np.linalg.lstsq(groups / error[:, None], tilt_rad / error, rcond=None)[0]
    chi2 = float(np.sum(((tilt_rad - groups @ mean) / error) ** 2))
    if chdtrc(tilt_rad.size - groups.shape[1], chi2) > TILT_CHANCE:
        return None
    smooth, smooth_u = smoothed(time_h, tilt_rad, error, groups)
    if float(np.ptp(smooth)) < TILT_LEAST_RAD:
        return None
    return Drift(smooth - smooth[0], TILT_GAIN_SD, float(np.mean(smooth_u)), onset(smooth, smooth_u), "tilt")


def smoothed(time_h: Array, values: Array, error: Array, groups: Array) -> tuple[Array, Array]:
    """Values as a path that bends or steps at random, the likelier of the two, beside a level for each group.

    Parameters
    ----------
    time_h : ndarray, shape (runs,)
        Time [h].
    values : ndarray, shape (runs,)
        Values and their standard uncertainties [any unit].
    error : ndarray, shape (runs,)
        Values and their standard uncertainties [any unit].
    groups : ndarray, shape (runs, g)
        Membership, one column for each group [1].

    Returns
    -------
    tuple of ndarray
        Path and its standard uncertainty [unit of the values].
    """
    t = time_h - time_h[0]
    low, high = np.minimum(t[:, None], t[None, :]), np.maximum(t[:, None], t[None, :])
    shapes = (low, low**2 * (3.0 * high - low) / 6.0)  # a random walk, and the integral of one
    best, answer = -np.inf, (values, error)
    level = 1e4 * float(np.ptp(values) + np.max(error)) ** 2 * (groups @ groups.T)
    size0 = max(float(np.ptp(values)), 1e-9)
    for shape in shapes:
        for size in np.geomspace(1e-3, 1e2, 30) * size0:
            prior = size**2 * shape
            factor = cho_factor(prior + level + np.diag(error**2))
            weighed = cho_solve(factor, values)
            value = -0.5 * float(values @ weighed) - float(np.sum(np.log(np.diag(factor[0]))))
            if value > best:
                best = value
                left = prior - prior @ cho_solve(factor, prior)
                answer = (prior @ weighed, np.sqrt(np.maximum(np.diag(left), 0.0)))
    return answer


def onset(smooth: Array, smooth_u: Array) -> int:
    """First run whose path has left the start for good.

    Parameters
    ----------
    smooth : ndarray
        Smoothed path, shape (runs,) [any unit].
    smooth_u : ndarray
        Its standard uncertainty, shape (runs,) [same unit].

    Returns
    -------
    int
        Index of the run [1].
    """
    level = float(np.median(smooth[:2]))
    limit = max(0.04 * float(np.ptp(smooth)), 2.0 * float(np.mean(smooth_u)))
    away = np.abs(smooth - level) > limit
    inside = np.flatnonzero(~away)
    return min(int(inside[-1]) + 1 if inside.size else 0, smooth.size - 1)


def _by_time(evidence: Evidence, steady: Joint, history: Repeatability | None) -> Joint:
    t = evidence.time_h
    tried: list[Joint] = []
    for k in range(1, t.size):
        start = 0.5 * (t[k - 1] + t[k])
        bend = np.maximum(t - start, 0.0)
        tried.append(Model(evidence, Drift(bend, BEND_SD, 0.0, k, "time"), history).solve())
        if 2 <= k <= t.size - 2:
            slip = (np.arange(t.size) >= k).astype(float)
            tried.append(Model(evidence, Drift(slip, SLIP_SD, 0.0, k, "time"), history).solve())
    values = np.array([j.log_likelihood for j in tried])
    best = int(np.argmax(values))
    odds = float(values[best] + np.log(np.mean(np.exp(values - values[best]))) - steady.log_likelihood)
    return _averaged(tried, values) if odds > ODDS_NEEDED else steady


def _averaged(tried: list[Joint], values: Array) -> Joint:
    """Mean of all drifts that were tried, each as likely as it is: when the mount gave way is not known to a run.

    The mean path becomes the shape; what the candidates disagree about widens the covariance.
    """
    weights = np.exp(values - values.max())
    weights /= weights.sum()
    best = tried[int(np.argmax(values))]
    at = best.slices["drift"].start
    paths = np.array([j.drift.shape * j.theta[at] for j in tried])
    mean_path = weights @ paths
    if not np.any(mean_path):
        return best
    over = []
    for share, j in zip(weights, tried, strict=True):
        turn = np.eye(j.theta.size)  # the drift's coefficient, told in units of the mean path
        turn[at, at] = float(mean_path @ j.drift.shape) / float(mean_path @ mean_path)
        over.append((float(share), turn, j))
    thetas = np.array([turn @ j.theta for _, turn, j in over])
    theta = weights @ thetas
    apart = thetas - theta
    covariance = np.einsum("k,kij->ij", weights, np.array([turn @ j.covariance @ turn.T for _, turn, j in over]))
    covariance += (apart * weights[:, None]).T @ apart
    drift = Drift(mean_path, 1.0, 0.0, best.drift.began, "time")
    model = Model(best.model.e, drift, best.model.history)
    return replace(best, theta=theta, covariance=covariance, model=model, drift=drift, over=tuple(over))

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
from analysis.core.types import Array, IntArray, Repeatability

TILT_GAIN_SD = 3.0  # [1/rad] prior SD of relative gain by tilt: 5 % a degree
TILT_CHANCE = 1e-3
TILT_LEAST_RAD = np.radians(0.1)
TILT_FLOOR_RAD = np.radians(0.02)
BEND_SD = 0.04  # [1/h] prior SD of a sagging gain
SLIP_SD = 0.03  # prior SD of a sudden change of the gain
ODDS_NEEDED = 3.0  # log of the mean likelihood ratio for a drift without tilt
# sizes of the departures near the sensor, in units of their prior, and how likely each is: known to a factor of two
DEPARTING = ((0.5, 0.25), (1.0, 0.5), (2.0, 0.25))
Weighed = tuple[float, Joint]


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
    steady = _solved(evidence, [still], history)
    if evidence.log_gain is None or evidence.setup.size < 3 or not allowed:
        return averaged(steady)
    if tilt is not None and np.isfinite(tilt[0]).all():
        drift = by_tilt(
            evidence.time_h, *tilt, np.asarray(evidence.near_sensor[evidence.setup] * evidence.setup, dtype=np.intp)
        )
        return averaged(steady if drift is None else _solved(evidence, [drift], history))
    moved = _solved(evidence, _by_time(evidence.time_h), history)
    return averaged(moved if _log_mean(moved) - _log_mean(steady) > ODDS_NEEDED else steady)


def _solved(evidence: Evidence, drifts: list[Drift], history: Repeatability | None) -> list[Weighed]:
    """Every drift with every size of the departures by setup; drifts are as likely as one another."""
    free = evidence.departures and evidence.log_gain is not None and bool(np.any(evidence.near_sensor[1:]))
    sizes = DEPARTING if free else ((1.0, 1.0),)
    return [
        (float(np.log(share / len(drifts))), Model(evidence, drift, history, size).solve())
        for drift in drifts
        for size, share in sizes
    ]


def _log_mean(tried: list[Weighed]) -> float:
    """Logarithm of the likelihood of the session, averaged over what was tried."""
    values = np.array([log_share + joint.log_evidence for log_share, joint in tried])
    return float(np.logaddexp.reduce(values))


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


def _by_time(time_h: Array) -> list[Drift]:
    """A bend or a slip at every run."""
    out = []
    for k in range(1, time_h.size):
        start = 0.5 * (time_h[k - 1] + time_h[k])
        out.append(Drift(np.maximum(time_h - start, 0.0), BEND_SD, 0.0, k, "time"))
        if 2 <= k <= time_h.size - 2:
            out.append(Drift((np.arange(time_h.size) >= k).astype(float), SLIP_SD, 0.0, k, "time"))
    return out


def averaged(tried: list[Weighed]) -> Joint:
    """Mean of all models that were tried, each as likely as it is.

    When the mount gave way is not known to a run, nor how far a position moves the air at the sensor. The mean
    path becomes the drift's shape; what the models disagree about widens the covariance.

    Parameters
    ----------
    tried : list of (float, Joint)
        Logarithm of the share that each model had before the session, and its solution [1].

    Returns
    -------
    Joint
        The mean of them [1].
    """
    if len(tried) == 1:
        return tried[0][1]
    values = np.array([log_share + joint.log_evidence for log_share, joint in tried])
    weights = np.exp(values - np.logaddexp.reduce(values))
    best = tried[int(np.argmax(values))][1]
    turns = [np.eye(best.theta.size) for _ in tried]
    drift = best.drift
    if drift.by != "none":
        at = best.slices["drift"].start
        mean_path = np.asarray(sum(w * j.drift.shape * j.theta[at] for w, (_, j) in zip(weights, tried, strict=True)))
        if not np.any(mean_path):
            return best
        for turn, (_, j) in zip(turns, tried, strict=True):  # the coefficient, told in units of the mean path
            turn[at, at] = float(mean_path @ j.drift.shape) / float(mean_path @ mean_path)
        drift = replace(drift, shape=mean_path, prior_sd=1.0, shape_u=0.0)
    over = tuple((float(w), turn, j) for w, turn, (_, j) in zip(weights, turns, tried, strict=True))
    thetas = np.array([turn @ j.theta for _, turn, j in over])
    theta = weights @ thetas
    apart = thetas - theta
    covariance = np.einsum("k,kij->ij", weights, np.array([turn @ j.covariance @ turn.T for _, turn, j in over]))
    covariance += (apart * weights[:, None]).T @ apart
    model = Model(best.model.e, drift, best.model.history)
    return replace(best, theta=theta, covariance=covariance, model=model, drift=drift, over=over)

"""From runs to setups: one Gaussian model of all run drag areas, all gains and what drifts.

The run is the unit. Its apparent drag area (from `balance`) is its true one over the squared gain; the
closure of every run (from `airsensor`) measures that gain; both are read together, so that a gain shared by
the session, its small departures by setup and its drift are told from drag. Rider scatter is estimated on
top of the sensors' own covariance: a session cannot repeat better than its sensors.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy.special import ndtr, stdtridf

from analysis.core import leastsquares
from analysis.core.leastsquares import Solution
from analysis.core.types import Array, IntArray, Mask, Repeatability

RIDER_DRIFT_SD = 0.003  # [m2/h] (DESIGN section 7)
SLOW_POWER_SD, SLOW_POWER_S = 0.003, 600.0  # power gain over ten minutes (DESIGN section 7)
NEAR_SENSOR_SD, ELSEWHERE_SD = 0.005, 0.001  # departures of the gain by setup (DESIGN section 7)
NO_DEPARTURE_SD = 1e-9
FLAT = 1e3  # prior SD of what the session alone decides
# Of a rider from run to run: degrees of freedom and [m2]. More scatter is as unlikely as more than one of a normal's;
# few runs say little of it, there the tail is drawn in until intervals hold what they say (METHOD section 3)
RIDER_SCATTER = ((2.0, 0.0017), (6.0, 0.0024))
WORST_SCATTER_M2 = 0.02
COARSE, FINE, DEPTH = 12, 25, 14.0  # steps of the scatter's posterior, and how far below its top it is followed
MOST_DF = 1e3


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """What the session says about each usable run; arrays of shape (r,) unless said otherwise."""

    setup: IntArray  # index, 0 the reference
    time_h: Array  # middle of the run
    apparent_m2: Array
    crr: Array  # (g,)
    crr_state: IntArray  # which tyres each setup rode on, shape (s,)
    balance_covariance: Array  # (r + g, r + g)
    log_gain: Array | None  # None: no air sensor, apparent is true
    gain_covariance: Array | None
    near_sensor: Mask  # (s,): position or cockpit differs from the reference's
    power_share_m2: Array  # work over X: what one relative unit of power gain moves
    rolling_share_m2: Array  # m g length over X: what one unit of Crr moves
    own_variance: Array  # of the apparent drag area, without what all runs share
    reach: Mapping[str, Array] = field(default_factory=dict)  # as in `Balance`
    departures: bool = True  # of the gain by setup


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """How the gain may have moved: shape over the runs, its prior, error of the shape itself."""

    shape: Array  # (r,), zero before it began
    prior_sd: float
    shape_u: float = 0.0
    began: int | None = None  # index of the run
    by: str = "none"  # none, tilt, time


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """The solution for one size of the rider's scatter, and how likely that size is."""

    share: float
    theta: Array
    root: Array  # the covariance is root @ root.T


@dataclass(frozen=True, slots=True, eq=False)
class Joint:
    """Solution of the run-level model."""

    theta: Array
    covariance: Array
    slices: dict[str, slice]
    scatter_m2: float  # rider's SD from run to run
    sensor_sd_m2: float  # SD that the sensors alone give one run
    log_evidence: float  # log likelihood of the session, averaged over the scatter
    gain0: float  # log gain about which the model is linear
    model: Model
    drift: Drift
    rate: float = 0.0  # of the drift, by which the error of its shape blurs the noise
    parts: tuple[Part, ...] = ()  # over the sizes of the scatter
    # where several models were averaged: share of each, the turn of its unknowns into these, its own solution
    over: tuple[tuple[float, Array, Joint], ...] = ()

    def contrast(self, weights: Array) -> tuple[float, float, float]:
        """Estimate, variance and degrees of freedom of a weighted sum of the unknowns."""
        value, variance = float(weights @ self.theta), float(weights @ self.covariance @ weights)
        return value, variance, freedom(self, weights)

    def weights(self, **parts: Array) -> Array:
        out = np.zeros(self.theta.size)
        for name, w in parts.items():
            out[self.slices[name]] = w
        return out


class Model:
    """The linear model of a session for one shape of gain drift and one size of the gain's departures by setup."""

    def __init__(self, evidence: Evidence, drift: Drift, history: Repeatability | None, departing: float = 1.0) -> None:
        self.e, self.drift, self.history, self.departing = evidence, drift, history, departing
        e = evidence
        self.runs, self.setups, self.tyres = e.setup.size, int(e.crr_state.size), e.crr.size
        self.has_gain = e.log_gain is not None
        self.gain0 = 0.0
        if e.log_gain is not None and e.gain_covariance is not None:
            self.gain0 = float(np.average(e.log_gain, weights=1.0 / np.diag(e.gain_covariance)))
        self.level = e.apparent_m2 * np.exp(2.0 * self.gain0)
        self.slices, self.prior_sd = self._unknowns()
        self.design, self.observed = self._rows()

    def _unknowns(self) -> tuple[dict[str, slice], Array]:
        sizes = {"setup": [FLAT] * self.setups, "crr": [FLAT] * self.tyres, "rider": [RIDER_DRIFT_SD]}
        if self.has_gain:
            near = [self.departing * NEAR_SENSOR_SD if n else ELSEWHERE_SD for n in self.e.near_sensor[1:]]
            near = near if self.e.departures else [NO_DEPARTURE_SD for _ in near]
            sizes |= {"gain": [FLAT], "departure": near}
            sizes["drift"] = [self.drift.prior_sd] if self.drift.by != "none" else []
        slices, start = {}, 0
        for name, sds in sizes.items():
            slices[name] = slice(start, start + len(sds))
            start += len(sds)
        return slices, np.array([sd for sds in sizes.values() for sd in sds])

    def gain_rows(self) -> Array:
        """Log gain of every run less `gain0`, as rows over the unknowns."""
        rows = np.zeros((self.runs, self.prior_sd.size))
        if not self.has_gain:
            return rows
        rows[:, self.slices["gain"]] = 1.0
        for s in range(1, self.setups):
            rows[self.e.setup == s, self.slices["departure"].start + s - 1] = 1.0
        if self.drift.by != "none":
            rows[:, self.slices["drift"].start] = self.drift.shape
        return rows

    def _rows(self) -> tuple[Array, Array]:
        e, r = self.e, self.runs
        drag = np.zeros((r, self.prior_sd.size))
        drag[np.arange(r), self.slices["setup"].start + e.setup.astype(int)] = 1.0
        drag[:, self.slices["rider"].start] = e.time_h - e.time_h.mean()
        gain = self.gain_rows()
        drag -= 2.0 * self.level[:, None] * gain
        crr = np.zeros((self.tyres, self.prior_sd.size))
        crr[:, self.slices["crr"]] = np.eye(self.tyres)
        design, observed = [drag, crr], [self.level, e.crr]
        if self.has_gain and e.log_gain is not None:
            design.append(gain)
            observed.append(e.log_gain - self.gain0)
        return np.vstack(design), np.concatenate(observed)

    def noise(self, scatter2: float, drift_rate: float = 0.0) -> Array:
        """Covariance of the observations without what the unknowns carry."""
        e, r, g = self.e, self.runs, self.tyres
        size = self.observed.size
        v = np.zeros((size, size))
        scale = np.exp(2.0 * self.gain0)
        grow = np.concatenate([np.full(r, scale), np.ones(g)])
        v[: r + g, : r + g] = e.balance_covariance * np.outer(grow, grow)
        apart = np.abs(e.time_h[:, None] - e.time_h[None, :]) * 3600.0
        share = e.power_share_m2 * scale
        v[:r, :r] += SLOW_POWER_SD**2 * np.outer(share, share) * np.exp(-apart / SLOW_POWER_S)
        v[np.arange(r), np.arange(r)] += scatter2
        if self.has_gain and e.gain_covariance is not None:
            v[r + g :, r + g :] = e.gain_covariance
        if drift_rate and self.drift.shape_u:
            blur = 2.0 * self.level * drift_rate * self.drift.shape_u
            v[np.arange(r), np.arange(r)] += blur**2
        return v

    def sensor_variance(self) -> float:
        """Mean variance that the sensors alone give one run, without what all runs share."""
        share = float(np.mean(self.e.power_share_m2)) * SLOW_POWER_SD
        return float((np.mean(self.e.own_variance) + share**2) * np.exp(4.0 * self.gain0))

    def solve(self) -> Joint:
        rate = 0.0
        for _ in range(3 if self.drift.shape_u else 1):
            joint = self._solved(rate)
            rate = float(joint.theta[self.slices["drift"]][0]) if self.has_gain and self.drift.by != "none" else 0.0
        return joint

    def _solved(self, rate: float) -> Joint:
        """The solution with the scatter's posterior, flat in the logarithm of a run's whole variance.

        The scatter that stands for all is the harmonic mean: without sensor noise it is the classical s^2.
        """
        sensor = max(self.sensor_variance(), 1e-14)
        total, values, fits = self._profile(sensor, rate)
        shares = np.exp(values - values.max())
        shares[[0, -1]] *= 0.5  # trapezoids
        evidence = float(values.max() + np.log(shares.sum() * (total[1] - total[0])))
        shares /= shares.sum()
        scatter2 = max(1.0 / float(shares @ np.exp(-total)) - sensor, 0.0)
        _, (found,) = self._fits(np.array([scatter2]), rate)
        return Joint(
            found.theta, found.covariance, self.slices, float(np.sqrt(scatter2)), float(np.sqrt(sensor)), evidence,
            self.gain0, self, self.drift, rate,
            tuple(Part(float(w), one.theta, one.root) for w, one in zip(shares, fits, strict=True)),
        )  # fmt: skip

    def _profile(self, sensor: float, rate: float) -> tuple[Array, Array, list[Solution]]:
        """Log of a run's variance in even steps where the likelihood is not nothing, with likelihoods and solutions."""
        low, high = float(np.log(sensor)), float(np.log(sensor + WORST_SCATTER_M2**2))
        while True:
            steps = np.linspace(low, high, COARSE)
            values, _ = self._fits(np.exp(steps) - sensor, rate)
            near = np.flatnonzero(values > values.max() - DEPTH)
            first, last = max(int(near[0]) - 1, 0), min(int(near[-1]) + 1, COARSE - 1)
            shrunk = (last - first) / (COARSE - 1)
            low, high = float(steps[first]), float(steps[last])
            if shrunk > 0.5:
                break
        total = np.linspace(low, high, FINE)
        return total, *self._fits(np.exp(total) - sensor, rate)

    def _fits(self, scatter2: Array, rate: float) -> tuple[Array, list[Solution]]:
        """Restricted log-likelihood and solution for each size of the scatter."""
        scatter2, own = np.maximum(scatter2, 0.0), np.arange(self.runs)
        noise = np.repeat(self.noise(0.0, rate)[None], scatter2.size, axis=0)
        noise[:, own, own] += scatter2[:, None]
        upper = np.linalg.cholesky(noise).swapaxes(1, 2)
        white = np.linalg.inv(upper).swapaxes(1, 2) @ np.column_stack([self.design, self.observed])
        found = leastsquares.solve_each(white, self.prior_sd)
        logdet = 2.0 * np.sum(np.log(np.diagonal(upper, axis1=1, axis2=2)), axis=1)
        left = np.array([one.squares + one.log_information for one in found])
        values = -0.5 * (left + logdet) - float(np.sum(np.log(self.prior_sd)))
        if (
            self.history is None or self.history.df > 0
        ):  # one of no degrees: nothing is believed before, as in textbooks
            values -= 0.5 * scatter2 / scatter_scale(self.e) ** 2
        if self.history is not None:
            total = scatter2 + self.sensor_variance()
            values -= 0.5 * self.history.df * (np.log(total) + self.history.sd_m2**2 / total)
        return values, found


def scatter_scale(evidence: Evidence) -> float:
    """Scale of the half normal that a rider's scatter from run to run has before the session and any history.

    Parameters
    ----------
    evidence : Evidence
        Its runs less its setups are what can tell of the scatter [1].

    Returns
    -------
    float
        Standard deviation of the normal [m2].

    References
    ----------
    Datta and Mukerjee (2004), Probability Matching Priors: a prior may depend on the design where its intervals are
    to hold their share in repeated sessions; the two scales are calibrated on simulated ones.
    """
    return float(np.interp(evidence.setup.size - np.unique(evidence.setup).size, *np.transpose(RIDER_SCATTER)))


def freedom(joint: Joint, weights: Array, apart: float = 0.0) -> float:
    """Degrees of freedom of the Student's t that has a contrast's standard deviation and its 95 % interval.

    Parameters
    ----------
    joint : Joint
        The solved run-level model [1].
    weights : ndarray
        Over the unknowns [1].
    apart : float
        Variance that is known whatever the scatter: to be told with the contrast's own, or, below 0, a part of that
        which is not to be told: the rest has fewer degrees of freedom than the whole [m4].

    Returns
    -------
    float
        Degrees of freedom, at most 1000 [1].

    Notes
    -----
    The interval is that of the mixture over the sizes of the scatter (and over drifts and departures). Without
    sensor noise the mixture is Student's t of runs less setups; with it, what the sensors are known to do is
    known, as in Satterthwaite (1946), but an estimate of the scatter at zero leaves it in doubt.

    References
    ----------
    Box and Tiao (1973), Bayesian Inference in Statistical Analysis, section 5.2: the variance of a run has a flat
    prior in its logarithm above the known part.
    """
    value, variance = float(weights @ joint.theta), float(weights @ joint.covariance @ weights) + apart
    sd = float(np.sqrt(max(variance, 0.0)))
    if sd <= 0.0:
        return MOST_DF
    models = joint.over or ((1.0, np.eye(weights.size), joint),)
    shares, means, spreads = np.hstack([_mixed(one.parts, weights @ turn, share) for share, turn, one in models])
    means, spreads = means - value, np.sqrt(np.maximum(spreads**2 + apart, 0.0))
    spreads = np.maximum(spreads, 1e-12 * sd)
    low, high = sd, 1e4 * sd
    middles = means / spreads
    for _ in range(48):
        half = float(np.sqrt(low * high))
        reach = half / spreads
        inside = float(shares @ (ndtr(reach - middles) - ndtr(-reach - middles)))
        low, high = (half, high) if inside < 0.95 else (low, half)
    ratio = float(np.sqrt(low * high)) / sd
    return float(np.clip(stdtridf(0.975, ratio), 0.0, MOST_DF)) if ratio > 1.9624 else MOST_DF


def _mixed(parts: tuple[Part, ...], weights: Array, share: float) -> Array:
    """Share, mean and standard deviation of a contrast for every size of the scatter, shape (3, k)."""
    roots = np.array([part.root for part in parts])
    means = np.array([part.theta for part in parts]) @ weights
    return np.array([[share * part.share for part in parts], means, np.linalg.norm(weights @ roots, axis=1)])


def rolling_share_m2(joint: Joint) -> float:
    """m g length over X by the true air, averaged over the runs: the drag area that a unit of Crr is worth as ridden.

    Parameters
    ----------
    joint : Joint
        The solved run-level model [1].

    Returns
    -------
    float
        Drag area for a unit of rolling resistance [m2].
    """
    m = joint.model
    gain = np.exp(m.gain0 + m.gain_rows() @ joint.theta)  # X goes with the square of the air speed as sensed
    return float(np.mean(m.e.rolling_share_m2 * gain**2))


def run_values(joint: Joint) -> tuple[Array, Array]:
    """Drag area of every run with the session's gain, and its uncertainty without what the session shares.

    Parameters
    ----------
    joint : Joint
        The solved run-level model [1].

    Returns
    -------
    tuple of array
        Drag areas and standard uncertainties, shape (r,) [m2].
    """
    m = joint.model
    rows = m.gain_rows()
    shift = rows @ joint.theta
    values = m.level * (1.0 + 2.0 * shift)
    moving = rows.copy()
    if "gain" in m.slices:
        moving[:, m.slices["gain"]] = 0.0
    moving = moving - moving.mean(axis=0)
    gain_part = 4.0 * m.level**2 * np.einsum("ij,jk,ik->i", moving, joint.covariance, moving)
    slow = (SLOW_POWER_SD * m.e.power_share_m2) ** 2
    own = (m.e.own_variance + slow) * np.exp(4.0 * m.gain0)
    return values, np.sqrt(np.maximum(own + gain_part, 1e-12))

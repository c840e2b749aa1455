"""The information bound: how well any estimator with the same sensors could know a session's difference.

It is the posterior standard deviation of the linear model (`linear`), for the difference between the means of
the runs' own drag areas: the rider's scatter is part of what is sought and not of the error.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve, solve_triangular

from analysis.core.simulate.motion import Ridden
from analysis.core.simulate.scenarios import Scenario
from analysis.core.simulate.world import World
from analysis.core.types import Array
from analysis.core.yardstick.linear import (
    SPEED_SAMPLES,
    WIDE,
    Known,
    Linear,
    altimeter_rows,
    closure_design,
    energy_design,
    known,
    layout,
    wind_covariance,
)
from analysis.core.yardstick.stretches import Stretches, cut


@dataclass(frozen=True, slots=True, eq=False)
class Bound:
    """Posterior standard deviations of one session."""

    difference_m2: Array  # (setups - 1,) against the reference: drag area
    ridden_m2: Array  # the same of all resistance, written as drag area
    one_run_m2: float  # of one run about the mean of its setup, by the sensors alone
    rolling_m2: float  # m g length / X, mean over the runs


def information_bound(world: World, scenario: Scenario, rides: Sequence[Ridden]) -> Bound:
    """Posterior standard deviation of the session's differences at the true noise levels.

    Parameters
    ----------
    world : World
    scenario : Scenario
    rides : sequence of Ridden

    Returns
    -------
    Bound
        Standard deviations against the runs' own true means [m2].
    """
    stretches, marks = cut(world, rides)
    k = known(world, scenario, rides)
    model = linearised(k, stretches, marks.size)
    normal = model.rows.T @ model.rows + np.diag(model.prior_sd**-2.0)
    factor = cho_factor(normal)
    used = stretches.energy_ok > 0
    runs = k.setup.size
    run = stretches.run.astype(int)[used]
    exposure = np.bincount(run, stretches.exposure[used], runs)
    rolling = float(np.mean(k.weight_n * np.bincount(run, stretches.length_m[used], runs) / exposure))
    drag = [contrast(model, k, other) for other in range(1, int(k.setup.max()) + 1)]
    ridden = [c.copy() for c in drag]
    if scenario.tyres:
        for place, c in enumerate(ridden):
            c[model.slices["crr_change"].start + place] += rolling
    return Bound(
        difference_m2=np.array([_sd(factor, c) for c in drag]),
        ridden_m2=np.array([_sd(factor, c) for c in ridden]),
        one_run_m2=_one_run_sd(k, model),
        rolling_m2=rolling,
    )


def contrast(model: Linear, k: Known, other: int) -> Array:
    """Weights of the unknowns in the runs' true mean difference, one setup less the reference.

    Parameters
    ----------
    model : Linear
    k : Known
    other : int
        Which setup, counted from the reference as 0 [1].

    Returns
    -------
    ndarray, shape (unknowns,)
        Weights [1].
    """
    weight = (k.setup == other) / np.sum(k.setup == other) - (k.setup == 0) / np.sum(k.setup == 0)
    out = np.zeros(model.prior_sd.size)
    out[model.slices["run"]] = weight
    out[model.slices["setup"].start + other] = 1.0
    out[model.slices["setup"].start] = -1.0
    out[model.slices["drift"].start] = weight @ k.time_h
    return out


def linearised(k: Known, stretches: Stretches, marks: int) -> Linear:
    """All rows of a session, whitened.

    Parameters
    ----------
    k : Known
    stretches : Stretches
    marks : int
        Number of marks [1].

    Returns
    -------
    Linear
        Rows in standard deviations per unit of each unknown [1].
    """
    passes = int(stretches.ride.max()) + 1
    slices, prior_sd = layout(k, marks, passes)
    design, covariance = covariance_of_rows(k, stretches, slices, prior_sd.size)
    white = [solve_triangular(np.linalg.cholesky(covariance), design, lower=True, check_finite=False)]
    white += [altimeter_rows(k, stretches, ride, slices, prior_sd.size) for ride in range(passes)]
    return Linear(np.vstack(white), prior_sd, slices)


def covariance_of_rows(k: Known, stretches: Stretches, slices: dict[str, slice], size: int) -> tuple[Array, Array]:
    """Design and covariance of energy balances and closures: energy first, then air along and across.

    Parameters
    ----------
    k : Known
    stretches : Stretches
    slices : dict
    size : int
        Number of unknowns [1].

    Returns
    -------
    tuple of ndarray
        Design, and covariance of the rows in their own units [1].
    """
    drawn, sensed = stretches.energy_ok > 0, (stretches.air_ok > 0) & k.world.airspeed
    s, air = stretches.where(drawn), stretches.where(sensed)
    n, m = s.run.size, air.run.size
    design = energy_design(k, s, slices, size)
    energy = _energy_noise(k, s)
    if not k.world.airspeed:
        feels = _feel(s, k.cda_m2[s.run.astype(int)][:, None] * np.column_stack([s.air_slope, s.cross_slope]))
        return design, energy + feels @ wind_covariance(k, s) @ feels.T
    along, across = closure_design(k, air, slices, size)
    wind = wind_covariance(k, air)
    covariance = np.zeros((n + 2 * m, n + 2 * m))
    covariance[:n, :n] = energy
    one, none = np.ones(m), np.zeros(m)
    feels = np.vstack([_feel(air, np.column_stack([one, none])), _feel(air, np.column_stack([none, one]))])
    covariance[n:, n:] = feels @ wind @ feels.T + np.diag(_air_noise(k, air))
    shared = np.flatnonzero((drawn & sensed)[drawn]), n + np.flatnonzero((drawn & sensed)[sensed])
    both = stretches.where(drawn & sensed)
    blur = (
        -k.cda_m2[both.run.astype(int)]
        * both.air_slope
        / both.duration_s
        * (k.world.airspeed_noise_mps / k.world.gain) ** 2
    )
    covariance[shared] = blur
    covariance[shared[::-1]] = blur
    return np.vstack([design, along, across]), covariance


def _energy_noise(k: Known, s: Stretches) -> Array:
    """Noise of power, white and slow, of the speed at the marks, and of the sensed air."""
    w, eta, run = k.world, k.world.drivetrain_efficiency, s.run.astype(int)
    own = (eta * w.power_noise) ** 2 * s.power_square
    if w.airspeed:
        own = own + (k.cda_m2[run] * w.airspeed_noise_mps / w.gain) ** 2 * s.air_square
    apart = np.abs(s.time_s[:, None] - s.time_s[None, :])
    slow = (eta * w.power_wander_sd) ** 2 * np.outer(s.work_j, s.work_j) * np.exp(-apart / w.power_wander_s)
    mark_sd = k.mass_kg * w.speed_noise_mps / np.sqrt(SPEED_SAMPLES)
    begin, end = mark_sd * s.begin_mps, mark_sd * s.end_mps
    speed = np.diag(begin**2 + end**2)
    follows = (s.ride[1:] == s.ride[:-1]) & (s.first[1:] == s.last[:-1])
    at = np.flatnonzero(follows)
    speed[at, at + 1] = speed[at + 1, at] = -end[at] * begin[at + 1]
    return np.asarray(np.diag(own) + slow + speed)


def _air_noise(k: Known, s: Stretches) -> Array:
    """Variance of the sensed air's means, along and across, by the sensor's own noise."""
    sensor = (k.world.airspeed_noise_mps / k.world.gain) ** 2 / s.duration_s
    tangent = s.cross_mps / s.air_mps
    vane = (s.air_mps * k.world.yaw_noise_rad) ** 2 * (1 + tangent**2) ** 2 / s.duration_s
    return np.concatenate([sensor, tangent**2 * sensor + vane])


def _feel(s: Stretches, weights: Array) -> Array:
    """Rows over the winds of the stretches: weights of the air along the road and across it."""
    sine, cosine = np.sin(s.heading), np.cos(s.heading)
    rows = np.zeros((s.run.size, 2 * s.run.size))
    at = np.arange(s.run.size)
    rows[at, 2 * at] = -sine * weights[:, 0] + cosine * weights[:, 1]
    rows[at, 2 * at + 1] = -cosine * weights[:, 0] - sine * weights[:, 1]
    return rows


def _sd(factor: tuple[Array, bool], weights: Array) -> float:
    return float(np.sqrt(weights @ cho_solve(factor, weights)))


def _one_run_sd(k: Known, model: Linear) -> float:
    """SD of one run about its setup's mean when nothing but its own readings tells it."""
    free = model.prior_sd.copy()
    free[model.slices["run"]] = WIDE["setup"]
    inverse = np.linalg.inv(model.rows.T @ model.rows + np.diag(free**-2.0))
    area = np.zeros((k.setup.size, free.size))
    area[:, model.slices["run"]] = np.eye(k.setup.size)
    area[:, model.slices["drift"].start] = k.time_h - k.time_h.mean()
    centred = area - ((k.setup[:, None] == k.setup[None, :]) / np.bincount(k.setup)[k.setup][:, None]) @ area
    degrees = k.setup.size - int(k.setup.max()) - 1
    return float(np.sqrt(np.trace(centred @ inverse @ centred.T) / degrees))

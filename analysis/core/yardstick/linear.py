"""The session as a linear model with normal errors, at the simulator's true noise levels.

Rows are energy balances and air closures of stretches, and altimeter readings at marks; unknown is everything
that an estimator does not know either, each with the spread it was drawn from. Solving belongs to `bound`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from analysis.core.simulate.draw import CRR_CHANGE, DEPARTURE_SD, SPREADS
from analysis.core.simulate.motion import Ridden
from analysis.core.simulate.scenarios import Scenario
from analysis.core.simulate.world import World
from analysis.core.types import Array
from analysis.core.yardstick.stretches import Stretches

TEN_MINUTES_S = 600.0
SPEED_SAMPLES = 5.0  # that tell the speed at a mark: more would need the very forces that are sought
MARK_SAMPLES = 3.0  # of the altimeter that tell one mark's height
POSITION_TIME_S = 60.0  # correlation time of a satellite position
WIDE = {"setup": 1.0, "height": 30.0, "wind": 5.0, "gain": SPREADS["gain"].sd, "sag": 0.05}  # where the session decides


@dataclass(frozen=True, slots=True, eq=False)
class Linear:
    """Whitened rows, priors, and where each unknown stands."""

    rows: Array  # (rows, unknowns): design, whitened
    prior_sd: Array  # (unknowns,)
    slices: dict[str, slice]


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """What the linear model is linearised about, run by run."""

    world: World
    scenario: Scenario
    setup: Array  # of each run, 0 is the reference
    time_h: Array  # of each run's middle
    cda_m2: Array
    density: Array
    weight_n: float  # m g
    mass_kg: float  # effective
    wind_mps: Array  # (2,) mean over the session, east and north


def known(world: World, scenario: Scenario, rides: Sequence[Ridden]) -> Known:
    """Collect what is common to the rows.

    Parameters
    ----------
    world : World
    scenario : Scenario
    rides : sequence of Ridden

    Returns
    -------
    Known
        The point of linearisation, in SI [1].
    """
    middle = [(r.begins_s + r.ride.speed_mps.size * r.ride.step_s / 2) / 3600 for r in rides]
    from_rad = world.wind_from_rad or 0.0
    body = rides[0].body
    return Known(
        world=world,
        scenario=scenario,
        setup=np.array([ord(label) - ord("A") for label in world.order]),
        time_h=np.array(middle),
        cda_m2=np.array([r.body.cda_m2 for r in rides]),
        density=np.array([r.body.density_kg_m3 for r in rides]),
        weight_n=body.mass_kg * body.gravity_mps2,
        mass_kg=body.effective_mass_kg,
        wind_mps=-world.wind_mps * np.array([math.sin(from_rad), math.cos(from_rad)]),
    )


def layout(k: Known, marks: int, passes: int) -> tuple[dict[str, slice], Array]:
    """Where each unknown stands, and the standard deviation of its prior.

    Parameters
    ----------
    k : Known
    marks, passes : int
        Of the session [1].

    Returns
    -------
    tuple of dict and ndarray
        Slices by name, and standard deviations in each unknown's unit [1].
    """
    world, others = k.world, int(k.setup.max())
    sizes: dict[str, tuple[int, float]] = {
        "setup": (others + 1, WIDE["setup"]),
        "run": (k.setup.size, world.run_scatter_sd_m2),
        "drift": (1, SPREADS["rider_drift_m2_per_hour"].sd if not k.scenario.tired else 2 * 0.003),
        "crr": (1, SPREADS["crr"].sd),
        "crr_change": (others if k.scenario.tyres else 0, CRR_CHANGE.sd),
        "height": (marks, WIDE["height"]),
        "place": (passes, _place_sd(k)),
        "power_gain": (1, SPREADS["power_gain"].sd),
        "power_clock": (1, SPREADS["power_delay_s"].sd),
        "place_clock": (1, SPREADS["position_delay_s"].sd),
        "yaw_drag": (1, SPREADS["yaw_drag"].sd),
    }
    if world.airspeed:
        departure = k.scenario.departure * DEPARTURE_SD[k.scenario.near_sensor]
        sizes |= {
            "gain": (1, WIDE["gain"]),
            "departure": (others, departure),
            "sag": (1 if k.scenario.sag else 0, WIDE["sag"]),
            "yaw_offset": (1, SPREADS["yaw_offset_rad"].sd),
            "air_clock": (1, SPREADS["airspeed_delay_s"].sd),
        }
    ends = np.cumsum([size for size, _ in sizes.values()])
    slices = {
        name: slice(int(end) - size, int(end)) for (name, (size, _)), end in zip(sizes.items(), ends, strict=True)
    }
    return slices, np.concatenate([np.full(size, sd) for size, sd in sizes.values()])


def _place_sd(k: Known) -> float:
    """Error of a pass's place when its satellite positions are averaged as well as can be (first-order error)."""
    pass_s = k.world.length_m / 10.0
    return k.world.position_wander_sd_m * math.sqrt(2 * POSITION_TIME_S / (2 * POSITION_TIME_S + pass_s))


def energy_design(k: Known, s: Stretches, slices: dict[str, slice], size: int) -> Array:
    """Derivatives of each stretch's energy balance by the unknowns.

    Parameters
    ----------
    k : Known
    s : Stretches
        Those whose balance can be drawn.
    slices : dict
    size : int
        Number of unknowns [1].

    Returns
    -------
    ndarray, shape (n, size)
        Joule per unit of each unknown [J].
    """
    run, at = s.run.astype(int), np.arange(s.run.size)
    drag, eta = k.cda_m2[run], k.world.drivetrain_efficiency
    design = np.zeros((at.size, size))
    design[at, slices["setup"].start + k.setup[run]] = s.exposure
    design[at, slices["run"].start + run] = s.exposure
    design[:, slices["drift"].start] = s.exposure * (k.time_h[run] - k.time_h.mean())
    rolling = k.weight_n * s.length_m
    design[:, slices["crr"].start] = rolling
    mean_sin2 = float(np.sum(s.yaw_exposure) / np.sum(s.exposure))
    design[:, slices["yaw_drag"].start] = drag * (s.yaw_exposure - mean_sin2 * s.exposure)
    changed = k.setup[run] > 0
    if k.scenario.tyres:
        design[at[changed], slices["crr_change"].start + k.setup[run][changed] - 1] = rolling[changed]
    np.add.at(design, (at, slices["height"].start + s.last.astype(int)), k.weight_n)
    np.add.at(design, (at, slices["height"].start + s.first.astype(int)), -k.weight_n)
    shift = k.weight_n * s.slope_step
    design[at, slices["place"].start + s.ride.astype(int)] = shift
    design[:, slices["place_clock"].start] = shift * s.length_m / s.duration_s
    design[:, slices["power_gain"].start] = eta * s.work_j
    design[:, slices["power_clock"].start] = eta * s.power_step_w
    if k.world.airspeed:
        gain = -2 * drag * s.exposure
        design[:, slices["gain"].start] = gain
        design[at[changed], slices["departure"].start + k.setup[run][changed] - 1] = gain[changed]
        design[:, slices["sag"]] = (gain * s.sag / (k.world.sag_per_hour or 1.0))[:, None]
        design[:, slices["yaw_offset"].start] = -drag * s.tan_exposure
        design[:, slices["air_clock"].start] = drag * s.air_shift
    return design


def closure_design(k: Known, s: Stretches, slices: dict[str, slice], size: int) -> tuple[Array, Array]:
    """Derivatives of the sensed air, along the road and across it, by the unknowns.

    Parameters
    ----------
    k : Known
    s : Stretches
        Those whose air was sensed.
    slices : dict
    size : int
        Number of unknowns [1].

    Returns
    -------
    tuple of ndarray, shape (n, size)
        Metre per second per unit of each unknown, along and across [m/s].
    """
    run, at = s.run.astype(int), np.arange(s.run.size)
    along, across = np.zeros((at.size, size)), np.zeros((at.size, size))
    changed = k.setup[run] > 0
    for design, air in ((along, s.air_mps), (across, s.cross_mps)):
        design[:, slices["gain"].start] = air
        design[at[changed], slices["departure"].start + k.setup[run][changed] - 1] = air[changed]
        design[:, slices["sag"]] = (air * s.sag / (k.world.sag_per_hour or 1.0))[:, None]
    across[:, slices["yaw_offset"].start] = s.air_mps * (1 + (s.cross_mps / s.air_mps) ** 2)
    along[:, slices["air_clock"].start] = -s.air_step / s.duration_s
    return along, across


def wind_covariance(k: Known, s: Stretches) -> Array:
    """Covariance of the mean wind of all stretches, east and north in turn: a walk, and gusts within a run.

    Parameters
    ----------
    k : Known
    s : Stretches

    Returns
    -------
    ndarray, shape (2 n, 2 n)
        Covariance [m2/s2].

    References
    ----------
    Gusts: exponential correlation over the air passed (Dryden, along-wind), averaged over each stretch in closed form.
    """
    w = k.world
    aside = np.array([-k.wind_mps[1], k.wind_mps[0]])
    walk = (w.wind_wander_mps**2 * np.eye(2) + w.wind_wander_rad**2 * np.outer(aside, aside)) / TEN_MINUTES_S
    shared = np.minimum(s.time_s[:, None], s.time_s[None, :])
    span = s.flow_span_m / w.gust_length_m
    damped = np.sinh(span / 2) / (span / 2)  # mean of exp(-x) over a span, over its value at the middle
    apart = np.abs(s.flow_m[:, None] - s.flow_m[None, :]) / w.gust_length_m
    gust = np.exp(-apart) * np.outer(damped, damped) * (s.run[:, None] == s.run[None, :])
    np.fill_diagonal(gust, 2 * (span - 1 + np.exp(-span)) / span**2)
    gust *= (w.gust_intensity * w.wind_mps) ** 2
    flat = np.full_like(gust, WIDE["wind"] ** 2)
    return np.asarray(np.kron(gust + flat, np.eye(2)) + np.kron(shared, walk))


def altimeter_rows(k: Known, s: Stretches, ride: int, slices: dict[str, slice], size: int) -> Array:
    """Whitened rows of the altimeter at the marks of one pass: white noise, a walk and a free level.

    Parameters
    ----------
    k : Known
    s : Stretches
    ride : int
        Which pass [1].
    slices : dict
    size : int
        Number of unknowns [1].

    Returns
    -------
    ndarray, shape (marks of the pass, size)
        Rows over the unknowns, each in standard deviations per unit [1].
    """
    own = s.where(s.ride == ride)
    mark = np.append(own.first[0], own.last).astype(int)
    time = own.time_s[0] + np.append(0.0, np.cumsum(own.duration_s))
    w = k.world
    since = time - time[0]
    v = w.altimeter_drift_m**2 / 3600 * np.minimum(since[:, None], since[None, :]) + 100.0
    v += np.eye(mark.size) * w.altimeter_noise_m**2 / MARK_SAMPLES
    rows = np.zeros((mark.size, size))
    rows[np.arange(mark.size), slices["height"].start + mark] = 1.0
    return np.asarray(solve_triangular(np.linalg.cholesky(v), rows, lower=True))

"""The air over the course: a mean that wanders through the session, and gusts that the rider passes through."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from analysis.core.simulate.world import Vehicle, World
from analysis.core.types import Array

TEN_MINUTES_S = 600.0


def wandering_mean(world: World, wind_from_rad: float, seconds: int, rng: np.random.Generator) -> Array:
    """Mean wind each second of the session, pauses included: where the air goes to, east and north.

    Parameters
    ----------
    world : World
    wind_from_rad : float
        Direction the wind comes from at the start [rad].
    seconds : int
        Length of the series [s].
    rng : numpy.random.Generator

    Returns
    -------
    ndarray, shape (seconds, 2)
        Velocity of the air, east and north [m/s].
    """
    start = -world.wind_mps * np.array([np.sin(wind_from_rad), np.cos(wind_from_rad)])
    steps = rng.normal(0.0, world.wind_wander_mps / np.sqrt(TEN_MINUTES_S), (seconds, 2))
    return np.asarray(start + np.cumsum(steps, axis=0))


def veering(world: World, mean_mps: Array, rng: np.random.Generator) -> Array:
    """The same mean wind when its direction wanders beside, as a random walk.

    Parameters
    ----------
    world : World
    mean_mps : ndarray, shape (seconds, 2)
        Velocity of the air, east and north [m/s].
    rng : numpy.random.Generator

    Returns
    -------
    ndarray, shape (seconds, 2)
        Velocity of the air, east and north [m/s].
    """
    if not world.wind_wander_rad:
        return mean_mps
    angle = np.cumsum(rng.normal(0.0, world.wind_wander_rad / np.sqrt(TEN_MINUTES_S), len(mean_mps)))
    east, north = mean_mps.T
    return np.column_stack([east * np.cos(angle) - north * np.sin(angle), east * np.sin(angle) + north * np.cos(angle)])


def wakes(vehicles: Sequence[Vehicle], steps: int, step_s: float) -> tuple[Array, Array]:
    """Air that passing vehicles take along, at the rider and at the air sensor: half a sine wave each.

    Parameters
    ----------
    vehicles : sequence of Vehicle
        Those of one run.
    steps : int
        Length of the series [1].
    step_s : float
        Time step [s].

    Returns
    -------
    tuple of ndarray, shape (steps,)
        Change of the air speed along the road at the rider and at the sensor [m/s].
    """
    time = step_s * np.arange(steps)
    rider, sensor = np.zeros(steps), np.zeros(steps)
    for vehicle in vehicles:
        phase = np.clip((time - vehicle.at_s) / vehicle.for_s, 0.0, 1.0)
        calm = -vehicle.calms_mps * np.sin(math.pi * phase)
        rider += calm
        sensor += vehicle.at_sensor * calm
    return rider, sensor


def gust_decay(air_speed_mps: float, length_m: float, step_s: float) -> float:
    """Autocorrelation of the gust over one step, for a rider who passes through it.

    Parameters
    ----------
    air_speed_mps : float
        Speed past the frozen turbulence [m/s].
    length_m : float
        Integral length of the gusts [m].
    step_s : float
        Time step [s].

    Returns
    -------
    float
        Factor of the first-order autoregression [1].

    References
    ----------
    Dryden spectrum, along-wind form (MIL-F-8785C), in discrete time: phi = exp(-V dt / L).
    """
    return math.exp(-air_speed_mps * step_s / length_m)

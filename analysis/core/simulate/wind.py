"""The air over the course: a mean that wanders through the session, and gusts that the rider passes through."""

from __future__ import annotations

import math

import numpy as np

from analysis.core.simulate.world import World
from analysis.core.types import Array


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
    steps = rng.normal(0.0, world.wind_wander_mps / np.sqrt(600.0), (seconds, 2))
    return np.asarray(start + np.cumsum(steps, axis=0))


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

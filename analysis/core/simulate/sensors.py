"""What the instruments record of a ride, once a second, with their faults. The motion itself does not belong here."""

from __future__ import annotations

import math

import numpy as np

from analysis.core.simulate.course import TABLE_STEP_M, Path
from analysis.core.simulate.motion import Ride
from analysis.core.simulate.world import World
from analysis.core.types import Array, Channels

SEMI_MAJOR_M = 6378137.0  # WGS-84
ECCENTRICITY2 = 0.00669437999014  # WGS-84


def sag_since(world: World, time_s: Array) -> Array:
    """How far the gain of the air sensor has changed since the mount began to give.

    Parameters
    ----------
    world : World
    time_s : ndarray, shape (n,)
        Time since the first run began [s].

    Returns
    -------
    ndarray, shape (n,)
        Change of the gain [1].
    """
    return np.asarray(world.sag_per_hour * np.maximum(time_s / 3600 - world.sag_from_h, 0.0))


def record(
    world: World,
    path: Path,
    ride: Ride,
    *,
    begins_s: float,
    gain: float,
    drift_m: Array,
    rng: np.random.Generator,
) -> Channels:
    """Sense one ride: power and air as means over the past second, speed, height and place at its end.

    Parameters
    ----------
    world : World
    path : Path
    ride : Ride
    begins_s : float
        Start of the run, from the start of the first [s].
    gain : float
        Gain of the air sensor without sag, sensed over true [1].
    drift_m : ndarray, shape (seconds,)
        Drift of the altimeter each second of the session [m].
    rng : numpy.random.Generator

    Returns
    -------
    Channels
        One sample a second; time counts from the first sample of the session [s].
    """
    per_second = round(1 / ride.step_s)
    n = len(ride.speed_mps) // per_second
    ends = np.arange(1, n + 1) * per_second - 1
    time_s = begins_s + np.arange(1.0, n + 1)
    distance = np.minimum(ride.distance_m[ends], path.length_m)
    sag = sag_since(world, time_s)
    along = _second_means(ride.along_mps, n, per_second, world.airspeed_delay_s)
    cross = _second_means(ride.cross_mps, n, per_second, world.airspeed_delay_s)
    power = _second_means(ride.power_w, n, per_second, world.power_delay_s)
    wheel = 1 + world.wheel_error
    latitude, longitude = _positions(world, path, distance, rng)
    airspeed = (gain + sag) * along + rng.normal(0.0, world.airspeed_noise_mps, n)
    yaw = np.arctan2(cross, along) + world.yaw_offset_rad + rng.normal(0.0, world.yaw_noise_rad, n)
    altitude = _at(path.height_m, distance) + np.interp(time_s, np.arange(len(drift_m)), drift_m)
    return Channels(
        time_s=time_s - 1.0,
        latitude_rad=latitude if world.positions else None,
        longitude_rad=longitude if world.positions else None,
        altitude_m=altitude + 12.0 + rng.normal(0.0, world.altimeter_noise_m, n),
        distance_m=distance * wheel,
        speed_mps=np.maximum(ride.speed_mps[ends] * wheel + rng.normal(0.0, world.speed_noise_mps, n), 0.0),
        power_w=world.power_gain * power * (1 + rng.normal(0.0, world.power_noise, n)),
        airspeed_mps=airspeed if world.airspeed else None,
        yaw_rad=yaw if world.yaw and world.airspeed else None,
        tilt_rad=_tilt(world, path, distance, sag, rng) if world.tilt and world.airspeed else None,
        temperature_k=world.temperature_k + world.warming_k_per_hour * time_s / 3600,
        pressure_pa=np.full(n, world.pressure_pa),
        humidity=np.full(n, world.humidity),
    )


def _second_means(series: Array, n: int, per_second: int, delay_s: float) -> Array:
    """Means over the past second of a stream that arrives late by `delay_s`; its ends are held."""
    late = np.arange(n * per_second) - round(delay_s * per_second)
    return np.asarray(series[np.clip(late, 0, len(series) - 1)].reshape(n, per_second).mean(axis=1))


def _at(table: Array, distance_m: Array) -> Array:
    return np.interp(distance_m / TABLE_STEP_M, np.arange(len(table)), table)


def _tilt(world: World, path: Path, distance_m: Array, sag: Array, rng: np.random.Generator) -> Array:
    road = world.tilt_feels_road * np.arctan(_at(path.slope(), distance_m))
    mount = world.tilt_offset_rad + world.tilt_per_gain * sag
    return np.asarray(mount + road + rng.normal(0.0, world.tilt_noise_rad, len(sag)))


def _positions(world: World, path: Path, distance_m: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """Latitude and longitude near the first mark, with white noise and an error that wanders over a minute."""
    n = len(distance_m)
    keep = math.exp(-1 / 60)
    wander = np.zeros((n, 2))
    fresh = rng.normal(0.0, world.position_wander_sd_m, (n, 2)) * math.sqrt(1 - keep * keep)
    fresh[0] /= math.sqrt(1 - keep * keep)
    for k in range(n):
        wander[k] = keep * wander[k - 1] + fresh[k]
    error = wander + rng.normal(0.0, world.position_noise_m, (n, 2))
    narrowing = math.sqrt(1 - ECCENTRICITY2 * math.sin(world.latitude_rad) ** 2)
    per_latitude = SEMI_MAJOR_M * (1 - ECCENTRICITY2) / narrowing**3
    per_longitude = SEMI_MAJOR_M / narrowing * math.cos(world.latitude_rad)
    latitude = world.latitude_rad + (_at(path.north_m, distance_m) + error[:, 1]) / per_latitude
    longitude = world.longitude_rad + (_at(path.east_m, distance_m) + error[:, 0]) / per_longitude
    return latitude, longitude

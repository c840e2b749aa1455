"""What the instruments record of a ride, with their faults. The motion itself does not belong here."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from analysis.core.simulate.course import TABLE_STEP_M, Path
from analysis.core.simulate.motion import Ridden, Ride
from analysis.core.simulate.noise import first_order, wandering
from analysis.core.simulate.world import Hole, World
from analysis.core.types import Array, Channels

SEMI_MAJOR_M = 6378137.0  # WGS-84
ECCENTRICITY2 = 0.00669437999014  # WGS-84


SETTLES_H = 0.3  # a mount that settles: time constant


@dataclass(frozen=True, slots=True, eq=False)
class Wandering:
    """What the instruments' errors do over a session, one value a second, pauses included."""

    altimeter_m: Array
    power: Array  # [1] change of the gain


def wandering_errors(world: World, seconds: int, rng: np.random.Generator, beside: np.random.Generator) -> Wandering:
    """Draw a session's slow errors.

    Parameters
    ----------
    world : World
    seconds : int
        Length of the session [s].
    rng, beside : numpy.random.Generator
        For what every world has, and for what only some have.

    Returns
    -------
    Wandering
        Errors of altimeter [m] and power [1].
    """
    drift = np.cumsum(rng.normal(0, world.altimeter_drift_m / 60, seconds))
    sd = world.power_wander_sd
    power = wandering(seconds, sd, world.power_wander_s, beside) if sd else np.zeros(seconds)
    return Wandering(drift, power)


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
        Change of the gain: its rate times hours, times the settled share of an hour, or all of one hour at once [1].
    """
    hours = np.maximum(time_s / 3600 - world.sag_from_h, 0.0)
    if world.sag_shape == "curve":
        hours = (1 - np.exp(-hours / SETTLES_H)) / (1 - math.exp(-1 / SETTLES_H))
    elif world.sag_shape == "slip":
        hours = (hours > 0).astype(float)
    return np.asarray(world.sag_per_hour * hours)


def record(world: World, ridden: Ridden, *, gain: float, errors: Wandering, rng: np.random.Generator) -> Channels:
    """Sense one ride: power and air as means over the time of a sample, speed, height and place at its end.

    White noise has one density, whatever the rate: the standard deviations of the world are those of 1 Hz.

    Parameters
    ----------
    world : World
    ridden : Ridden
    gain : float
        Gain of the air sensor without sag, sensed over true [1].
    errors : Wandering
        Slow errors of the session's instruments [1].
    rng : numpy.random.Generator

    Returns
    -------
    Channels
        Samples at the world's rate; time counts from the first sample of the session [s].
    """
    path, ride, begins_s = ridden.path, ridden.ride, ridden.begins_s
    steps = round(1 / (ride.step_s * world.rate_hz))  # of the integrator, for one sample
    n = len(ride.speed_mps) // steps
    ends = np.arange(1, n + 1) * steps - 1
    time_s = begins_s + np.arange(1.0, n + 1) / world.rate_hz
    denser = math.sqrt(world.rate_hz)
    distance = np.minimum(ride.distance_m[ends], path.length_m)
    sag = sag_since(world, time_s)
    along = _lagging(world, ride.along_mps + ridden.sensed_wake_mps[: len(ride.along_mps)], n, steps)
    cross = _lagging(world, ride.cross_mps, n, steps)
    power = _means(ride.power_w, n, steps, world.power_delay_s / ride.step_s)
    power_gain = world.power_gain * (1 + np.interp(time_s, np.arange(len(errors.power)), errors.power))
    wheel = 1 + world.wheel_error
    latitude, longitude = _positions(world, path, _late(ride, path, time_s - begins_s, world.position_delay_s), rng)
    airspeed = (gain + sag) * along + denser * rng.normal(0.0, world.airspeed_noise_mps, n)
    yaw = np.arctan2(cross, along) + world.yaw_offset_rad + denser * rng.normal(0.0, world.yaw_noise_rad, n)
    drift = np.interp(time_s, np.arange(len(errors.altimeter_m)), errors.altimeter_m)
    altitude = _at(path.height_m, distance) + drift
    return Channels(
        time_s=time_s - 1 / world.rate_hz,
        latitude_rad=latitude if world.positions else None,
        longitude_rad=longitude if world.positions else None,
        altitude_m=altitude + 12.0 + denser * rng.normal(0.0, world.altimeter_noise_m, n),
        distance_m=distance * wheel,
        speed_mps=np.maximum(ride.speed_mps[ends] * wheel + denser * rng.normal(0.0, world.speed_noise_mps, n), 0.0),
        power_w=power_gain * power * (1 + denser * rng.normal(0.0, world.power_noise, n)),
        airspeed_mps=airspeed if world.airspeed else None,
        yaw_rad=yaw if world.yaw and world.airspeed else None,
        tilt_rad=_tilt(world, path, distance, sag, rng) if world.tilt and world.airspeed else None,
        temperature_k=world.temperature_k + world.warming_k_per_hour * time_s / 3600,
        pressure_pa=np.full(n, world.pressure_pa),
        humidity=np.full(n, world.humidity),
    )


def lose(channels: Channels, holes: Sequence[Hole], share: float, rng: np.random.Generator) -> Channels:
    """The same samples with some missing: whole rows, or NaN in the stream that dropped out.

    Parameters
    ----------
    channels : Channels
    holes : sequence of Hole
        Those of this run; they count from its first sample [s].
    share : float
        Single rows that are missing beside [1].
    rng : numpy.random.Generator

    Returns
    -------
    Channels
        What is left, in SI [1].
    """
    since = channels.time_s - channels.time_s[0]
    keep = rng.random(since.size) >= share if share else np.ones(since.size, dtype=bool)
    keep[[0, -1]] = True
    streams: dict[str, Array | None] = {f.name: getattr(channels, f.name) for f in fields(Channels)}
    for hole in holes:
        inside = (since >= hole.at_s) & (since < hole.at_s + hole.for_s)
        if hole.stream == "all":
            keep &= ~inside
        for name in {"power": ("power_w",), "air": ("airspeed_mps", "yaw_rad")}.get(hole.stream, ()):
            series = streams[name]
            streams[name] = None if series is None else np.where(inside, np.nan, series)
    left = {name: None if series is None else series[keep] for name, series in streams.items()}
    return Channels(**left)  # type: ignore[arg-type]  # time_s is never None


def _means(series: Array, n: int, steps: int, delay_steps: float) -> Array:
    """Means over the samples' times of a stream that arrives late; its ends are held."""
    late = np.arange(n * steps) - round(delay_steps)
    return np.asarray(series[np.clip(late, 0, len(series) - 1)].reshape(n, steps).mean(axis=1))


def _lagging(world: World, air_mps: Array, n: int, steps: int) -> Array:
    """The air as a slow sensor follows it."""
    if world.airspeed_lag_s:
        keep = math.exp(-world.step_s / world.airspeed_lag_s)
        air_mps = first_order((1 - keep) * air_mps, keep, air_mps[0])
    return _means(air_mps, n, steps, world.airspeed_delay_s / world.step_s)


def _late(ride: Ride, path: Path, time_s: Array, delay_s: float) -> Array:
    """Distance ridden when the satellite fix was taken."""
    clock = ride.step_s * np.arange(1, len(ride.distance_m) + 1)
    return np.minimum(np.interp(time_s - delay_s, clock, ride.distance_m), path.length_m)


def _at(table: Array, distance_m: Array) -> Array:
    return np.interp(distance_m / TABLE_STEP_M, np.arange(len(table)), table)


def _tilt(world: World, path: Path, distance_m: Array, sag: Array, rng: np.random.Generator) -> Array:
    road = world.tilt_feels_road * np.arctan(_at(path.slope(), distance_m))
    mount = world.tilt_offset_rad + world.tilt_per_gain * sag
    noise = math.sqrt(world.rate_hz) * rng.normal(0.0, world.tilt_noise_rad, len(sag))
    return np.asarray(mount + road + noise)


def _positions(world: World, path: Path, distance_m: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """Latitude and longitude near the first mark, with white noise and an error that wanders over a minute."""
    n = len(distance_m)
    keep = math.exp(-1 / (60 * world.rate_hz))
    fresh = rng.normal(0.0, world.position_wander_sd_m, (n, 2)) * math.sqrt(1 - keep * keep)
    fresh[0] /= math.sqrt(1 - keep * keep)
    wander = first_order(fresh, keep, np.zeros(2))
    error = wander + math.sqrt(world.rate_hz) * rng.normal(0.0, world.position_noise_m, (n, 2))
    narrowing = math.sqrt(1 - ECCENTRICITY2 * math.sin(world.latitude_rad) ** 2)
    per_latitude = SEMI_MAJOR_M * (1 - ECCENTRICITY2) / narrowing**3
    per_longitude = SEMI_MAJOR_M / narrowing * math.cos(world.latitude_rad)
    latitude = world.latitude_rad + (_at(path.north_m, distance_m) + error[:, 1]) / per_latitude
    longitude = world.longitude_rad + (_at(path.east_m, distance_m) + error[:, 0]) / per_longitude
    return latitude, longitude

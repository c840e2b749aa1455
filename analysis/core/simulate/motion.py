"""The equation of motion, integrated with a second-order step. Sensors and their faults do not belong here."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import repeat
from typing import Any

import numpy as np

from analysis.core.simulate.course import TABLE_STEP_M, Path
from analysis.core.simulate.wind import gust_decay
from analysis.core.types import Array

FULL_POWER_FROM_MPS = 1.0  # below, the pedal force and not the power is what a rider can hold


@dataclass(frozen=True, slots=True)
class Rolling:
    """What moves: bodies, tyres, air. Bearing losses are `(91 + 8.7 v) mW` for both wheels (Martin et al. 1998)."""

    cda_m2: float
    crr: float
    mass_kg: float
    effective_mass_kg: float
    density_kg_m3: float
    efficiency: float
    gravity_mps2: float
    bearing_w_s_m: float = 0.091  # [N]
    bearing_w_s2_m2: float = 0.0087  # [N s/m]
    yaw_drag: float = 0.0  # [1] of sin^2(yaw)


@dataclass(frozen=True, slots=True, eq=False)
class Weather:
    """The air during one run: mean per second, gust strength and length, and the random numbers of the gusts."""

    mean_mps: Array  # (seconds, 2) east and north
    gust_sd_mps: float = 0.0
    gust_length_m: float = 40.0
    noise: Array | None = None  # (steps, 2) standard normal
    wake_mps: Array | None = None  # (steps,) change of the air against the rider by passing vehicles


@dataclass(frozen=True, slots=True, eq=False)
class Ride:
    """One entry a step: distance and speed at its end; power and air over it."""

    distance_m: Array
    speed_mps: Array
    power_w: Array
    along_mps: Array  # air against the rider
    cross_mps: Array  # air from the rider's left
    braked: Array  # 1 where the brakes were on
    step_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Ridden:
    """What really happened in one run: the ride itself, where, under which conditions."""

    path: Path
    ride: Ride
    body: Rolling
    begins_s: float
    sensed_wake_mps: Array  # how much the air at the sensor differs from the air at the rider


def accelerating(body: Rolling) -> Callable[[float, float, float, float, float], float]:
    """How a body's speed changes along the road.

    Parameters
    ----------
    body : Rolling

    Returns
    -------
    callable
        Rate of change of the speed [m/s2] from the speed over the ground [m/s], the power at the pedals [W], the rise
        over distance [1], and the air against the rider and from the rider's left [m/s].

    References
    ----------
    Martin et al. (1998), J. Appl. Biomech. 14:276-291, solved for the change of kinetic energy; drag along the
    road is 1/2 rho CdA V a with V the whole air speed and a its part along the road.
    """
    efficiency, least, area, yaw_drag, crr = body.efficiency, FULL_POWER_FROM_MPS, body.cda_m2, body.yaw_drag, body.crr
    half_density, gravity_n, effective_kg = (
        0.5 * body.density_kg_m3,
        body.mass_kg * body.gravity_mps2,
        body.effective_mass_kg,
    )
    bearing, bearing_per_speed, sqrt = body.bearing_w_s_m, body.bearing_w_s2_m2, math.sqrt

    def change(speed: float, power: float, slope: float, along: float, cross: float) -> float:
        push = efficiency * power / (speed if speed > least else least)
        flow2 = along * along + cross * cross
        felt = area * (1.0 + yaw_drag * cross * cross / flow2) if flow2 else 0.0
        drag = half_density * felt * sqrt(flow2) * along
        weight = gravity_n * (1.0 / sqrt(1.0 + slope * slope)) * (crr + slope)
        return (push - drag - weight - (bearing + bearing_per_speed * speed)) / effective_kg

    return change


def ride(path: Path, body: Rolling, power_w: Array, weather: Weather, start_mps: float, step_s: float) -> Ride:
    """Ride a path from a rolling start to its end.

    Parameters
    ----------
    path : Path
    body : Rolling
    power_w : ndarray, shape (seconds,)
        Power the rider holds when free to pedal, each second; the ride is cut where it ends [W].
    weather : Weather
    start_mps : float
        Speed at the start [m/s].
    step_s : float
        Time step, a whole part of a second [s].

    Returns
    -------
    Ride
        Distance [m], speed [m/s], power [W] and air [m/s] of each step [s].
    """
    per_second, half = round(1 / step_s), step_s / 2
    road, gusts, brakes, change_of = _Road(path), _Gusts(weather, step_s), _Brakes(path, step_s), accelerating(body)
    effort = power_w.tolist()
    mean = weather.mean_mps[: len(effort)].tolist()
    wakes = repeat(0.0) if weather.wake_mps is None else _listed(weather.wake_mps)
    rows: list[tuple[float, ...]] = []
    distance, speed, step = 0.0, start_mps, 0
    while distance < path.length_m and step < len(effort) * per_second:
        second = step // per_second
        slope, sine, cosine = road.at(distance)
        to_east, to_north = mean[second]
        east, north = to_east + gusts.east, to_north + gusts.north
        against, cross = next(wakes) - (east * sine + north * cosine), east * cosine - north * sine
        brake = brakes.deceleration(distance, speed, step * step_s)
        drag, pedalling = brakes.dragging(distance)
        if brake is None:
            power = effort[second] * pedalling
            start = change_of(speed, power, slope, speed + against, cross) - drag
            middle = max(speed + half * start, 0.0)
            slope = road.slope_at(distance + half * speed)
            change = change_of(middle, power, slope, middle + against, cross) - drag
        else:
            power, change = 0.0, -brake
            middle = max(speed - half * brake, 0.0)
        power *= min(middle / FULL_POWER_FROM_MPS, 1.0)
        distance += step_s * middle
        speed = max(speed + step_s * change, 0.0)
        rows.append((distance, speed, power, middle + against, cross, float(brake is not None or drag > 0)))
        past = middle - (to_east * sine + to_north * cosine), to_east * cosine - to_north * sine
        gusts.pass_through(math.hypot(*past))
        step += 1
    distances, speeds, powers, along, cross, braked = np.array(rows).T
    return Ride(distances, speeds, powers, along, cross, braked, step_s)


def _listed(rows: Array) -> Iterator[Any]:
    """What an array holds as plain numbers, made as they are asked for: most rides end long before their weather."""
    for at in range(0, len(rows), 1000):
        yield from rows[at : at + 1000].tolist()


class _Road:
    """Slope and heading between the entries of a path's tables."""

    def __init__(self, path: Path) -> None:
        self.slope = path.slope().tolist()
        self.table = list(
            zip(self.slope, np.sin(path.heading_rad).tolist(), np.cos(path.heading_rad).tolist(), strict=True)
        )

    def at(self, distance_m: float) -> tuple[float, float, float]:
        return self.table[int(distance_m / TABLE_STEP_M)]

    def slope_at(self, distance_m: float) -> float:
        return float(self.slope[int(distance_m / TABLE_STEP_M)])


class _Gusts:
    """Two components of a first-order autoregression of the air that passes the rider.

    The frozen pattern is carried by the mean wind (Taylor 1938, Proc. R. Soc. A 164:476), not by its own gusts:
    else a rider would linger in gusts from behind, and the mean of the wind met would not be the mean wind.
    """

    def __init__(self, weather: Weather, step_s: float) -> None:
        self.sd, self.length_m, self.step_s = weather.gust_sd_mps, weather.gust_length_m, step_s
        self.noise = None if weather.noise is None else _listed(weather.noise)
        self.east, self.north = [self.sd * e for e in next(self.noise)] if self.noise else [0.0, 0.0]

    def pass_through(self, air_speed_mps: float) -> None:
        if self.noise:
            keep = gust_decay(air_speed_mps, self.length_m, self.step_s)
            fresh = self.sd * math.sqrt(1 - keep * keep)
            east, north = next(self.noise)
            self.east, self.north = keep * self.east + fresh * east, keep * self.north + fresh * north


class _Brakes:
    """Slows for each place in turn with the same deceleration, then stands still where the place says so."""

    def __init__(self, path: Path, step_s: float) -> None:
        self.ahead = sorted(path.slows, key=lambda s: s.at_m)
        self.drags = path.brakes
        self.step_s = step_s
        self.braking = False
        self.stands_until_s = 0.0

    def deceleration(self, distance_m: float, speed_mps: float, now_s: float) -> float | None:
        """Deceleration by the brakes, None when free to pedal."""
        if now_s < self.stands_until_s:
            return speed_mps / self.step_s
        if not self.ahead:
            return None
        place = self.ahead[0]
        if distance_m >= place.at_m or (self.braking and speed_mps <= place.speed_mps + 1e-9):
            self.ahead.pop(0)
            self.braking = False
            self.stands_until_s = now_s + place.wait_s
            return speed_mps / self.step_s if place.wait_s else None
        needed = (speed_mps**2 - place.speed_mps**2) / (2 * max(place.at_m - distance_m, 0.1))
        self.braking = self.braking or needed >= place.firm_mps2
        return needed if self.braking else None

    def dragging(self, distance_m: float) -> tuple[float, float]:
        """Deceleration by brakes that only drag, and the share of the power that the rider keeps."""
        for drag in self.drags:
            if drag.at_m <= distance_m < drag.at_m + drag.over_m:
                return drag.firm_mps2, drag.pedalling
        return 0.0, 1.0

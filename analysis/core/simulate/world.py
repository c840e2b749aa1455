"""What a simulated session is made of, and what is true of it. No computation belongs here."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from analysis.core.types import Array


@dataclass(frozen=True, slots=True)
class Stop:
    """The rider stands still: run (counts from 1), place along the run [m], how long [s]."""

    run: int
    at_m: float
    wait_s: float


@dataclass(frozen=True, slots=True)
class Brake:
    """The brakes drag for a while: run, place [m], over which length [m], how firmly [m/s2], share of power kept."""

    run: int
    at_m: float
    over_m: float
    firm_mps2: float
    pedalling: float


@dataclass(frozen=True, slots=True)
class Vehicle:
    """A vehicle passes: run, when [s], how long its wake lasts [s], air it takes from the rider at most [m/s].

    `at_sensor` is the share of the change that the air sensor, ahead of the rider, feels.
    """

    run: int
    at_s: float
    for_s: float
    calms_mps: float
    at_sensor: float


@dataclass(frozen=True, slots=True)
class Hole:
    """Samples that were lost: run, from when [s], how long [s], and which stream."""

    run: int
    at_s: float
    for_s: float
    stream: Literal["all", "power", "air"] = "all"


@dataclass(frozen=True, slots=True)
class World:
    """Everything that can differ between two sessions; the defaults are the proof world of the first release.

    Standard deviations are `..._sd...`; random walks are given by what they gain in the stated time.
    Tuples `..._by_setup` start with setup A; a short tuple goes on with its neutral value.
    """

    # what is ridden
    order: str = "ABBAABBA"
    cda_m2: float = 0.2400  # [m2] setup A
    delta_cda_m2: tuple[float, ...] = (-0.0040,)  # [m2] B - A, C - A, ...
    run_scatter_sd_m2: float = 0.0012  # [m2] rider, from run to run
    rider_drift_m2_per_hour: float = 0.0  # a rider who tires sits up
    yaw_drag: float = 0.0  # [1] drag area grows by this times sin^2(yaw)
    crr: float = 0.0042  # [1]
    delta_crr_by_setup: tuple[float, ...] = ()  # [1] tyres or pressure changed
    factor: str = "items.wheels"  # what differs between the setups
    mass_kg: float = 82.0
    wheel_inertia_kg_m2: float = 0.14  # both wheels together (Martin et al. 1998)
    wheel_circumference_m: float = 2.0986
    drivetrain_efficiency: float = 0.975
    gravity_mps2: float = 9.8127  # normal gravity at 52.3 degrees north

    # course
    kind: Literal["out_and_back", "lap"] = "out_and_back"
    length_m: float = 1500.0  # one way, or once round
    laps: int = 3  # to a run, `lap` only
    bend_radius_m: float = 60.0  # of the two half circles of a lap
    bearing_rad: float = math.radians(60)
    undulation_m: float = 1.5
    other_way_runs: tuple[int, ...] = ()  # ridden from the far end, or round the other way
    start_scatter_sd_m: float = 0.0  # starts a few metres off
    turn_scatter_sd_m: float = 0.0
    latitude_rad: float = math.radians(52.31)  # open sea
    longitude_rad: float = math.radians(-34.38)

    # rider
    power_w: float = 250.0
    effort_sd: float = 0.03  # [1] slow waves of the effort itself
    effort_time_s: float = 20.0
    effort_fade_per_hour: float = 0.0  # [1/h] a rider who tires holds less power
    effort_by_run: tuple[float, ...] = ()  # [1] of `power_w`, run by run; a short tuple goes on with 1
    start_speed_mps: float = 10.0
    turn_speed_mps: float = 3.0
    braking_mps2: float = 2.1
    pause_s: float = 240.0
    stops: tuple[Stop, ...] = ()
    brakes: tuple[Brake, ...] = ()

    # air
    wind_mps: float = 2.5
    wind_from_rad: float | None = None  # None: drawn
    wind_wander_mps: float = 0.3  # each component, in 10 minutes
    wind_wander_rad: float = 0.0  # its direction beside, in 10 minutes
    gust_intensity: float = 0.25  # [1] of the mean wind
    gust_length_m: float = 40.0
    temperature_k: float = 291.15
    warming_k_per_hour: float = 0.0
    vehicles: tuple[Vehicle, ...] = ()
    pressure_pa: float = 100_800.0
    humidity: float = 0.55

    # sensors
    power_noise: float = 0.03  # [1] white, each second
    power_gain: float = 1.0
    power_wander_sd: float = 0.0  # [1] slow changes of the gain
    power_wander_s: float = 600.0  # their correlation time
    power_delay_s: float = 0.0
    speed_noise_mps: float = 0.02
    wheel_error: float = 0.0  # [1] recorded over true, less one
    airspeed: bool = True
    airspeed_noise_mps: float = 0.15
    airspeed_delay_s: float = 0.0
    airspeed_lag_s: float = 0.0  # first order
    gain: float = 1.0  # sensed over true, at the start
    gain_by_setup: tuple[float, ...] = ()  # [1] departures from `gain`
    sag_per_hour: float = 0.0  # [1/h] change of the gain once the mount gives
    sag_from_h: float = 0.4
    sag_shape: Literal["bend", "curve", "slip"] = "bend"  # steady, settling within an hour, or all at once
    tilt: bool = True
    tilt_noise_rad: float = math.radians(0.5)
    tilt_offset_rad: float = 0.0
    tilt_per_gain: float = math.radians(-31.25)  # [rad] mount pitch that belongs to a change of the gain by one
    tilt_feels_road: float = 1.0
    yaw: bool = True
    yaw_noise_rad: float = math.radians(0.5)
    yaw_offset_rad: float = 0.0
    positions: bool = True
    position_noise_m: float = 0.3
    position_wander_sd_m: float = 0.5
    position_delay_s: float = 0.0
    altimeter_noise_m: float = 0.15
    altimeter_drift_m: float = 1.5  # random walk, in one hour
    lost_share: float = 0.0  # [1] single samples that are missing
    holes: tuple[Hole, ...] = ()

    rate_hz: float = 1.0  # of the recordings; a sample takes a whole number of the integrator's steps
    step_s: float = 0.1  # of the integrator


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """What the estimator should find. Drag areas hold at the session's mean yaw."""

    run_cda_m2: Array  # [m2] shape (runs,)
    setup_cda_m2: Mapping[str, float]
    crr: float  # of setup A
    crr_by_setup: Mapping[str, float]
    gain_at_start: float
    gain_by_setup: Mapping[str, float]  # at the start
    gain_change_per_hour: float
    sag_began_run: int | None
    wind_from_rad: float
    wind_mps: float
    run_delta_m2: Mapping[str, float] = field(default_factory=dict)  # mean of a setup's runs less that of A's runs

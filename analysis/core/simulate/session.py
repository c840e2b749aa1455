"""A whole session from a world: the runs in their order, one air and one set of instruments for all of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.core.simulate.course import Path, Slow, laps, out_and_back, turned_round
from analysis.core.simulate.motion import Ridden, Rolling, Weather, ride
from analysis.core.simulate.noise import first_order
from analysis.core.simulate.sensors import Wandering, lose, record, wandering_errors
from analysis.core.simulate.wind import veering, wakes, wandering_mean
from analysis.core.simulate.world import Truth, World
from analysis.core.types import Array, Bike, Channels, Course, Run, Session, Setup

SLOWEST_MEAN_MPS = 3.0  # a ride that is slower than this has not been made for testing


def simulate_session(world: World, rng: np.random.Generator) -> tuple[Session, Truth]:
    """Draw a session from a world.

    Parameters
    ----------
    world : World
    rng : numpy.random.Generator
        The only source of chance: the same seed gives the same session [1].

    Returns
    -------
    tuple of Session and Truth
        What the instruments recorded, and what was true; both in SI [1].

    Raises
    ------
    ValueError
        The rider does not reach the end of a run.
    """
    session, truth, _ = simulate_rides(world, rng)
    return session, truth


def simulate_rides(world: World, rng: np.random.Generator) -> tuple[Session, Truth, tuple[Ridden, ...]]:
    """Draw a session from a world, with the rides behind it.

    Parameters
    ----------
    world : World
    rng : numpy.random.Generator
        The only source of chance: the same seed gives the same session [1].

    Returns
    -------
    tuple of Session, Truth and tuple of Ridden
        What the instruments recorded, what was true, and what happened step by step; all in SI [1].

    Raises
    ------
    ValueError
        The rider does not reach the end of a run.
    """
    beside = rng.spawn(1)[0]  # what only some worlds have draws from here and leaves the other numbers as they are
    wind_from = rng.uniform(0, 2 * math.pi) if world.wind_from_rad is None else world.wind_from_rad
    labels = sorted(set(world.order))
    setup_cda = {label: world.cda_m2 + _of(label, (0.0, *world.delta_cda_m2)) for label in labels}
    run_cda = np.array([setup_cda[s] for s in world.order]) + rng.normal(0, world.run_scatter_sd_m2, len(world.order))
    phases = rng.uniform(0, 2 * math.pi, 2)
    most_s = _longest_run_s(world)
    horizon = math.ceil(len(world.order) * (most_s + world.pause_s))
    wind = veering(world, wandering_mean(world, wind_from, horizon, rng), beside)
    errors = wandering_errors(world, horizon, rng, beside)
    day = _Day(world, phases, most_s, wind, errors, rng, beside)
    runs: list[Run] = []
    rides: list[Ridden] = []
    begins, sag_began = 0, None
    for number, label in enumerate(world.order, start=1):
        run_cda[number - 1] += world.rider_drift_m2_per_hour * begins / 3600
        ridden = day.ride(number, label, float(run_cda[number - 1]), begins)
        rides.append(ridden)
        runs.append(Run(number=number, setup=label, channels=day.record(number, label, ridden)))
        ends = begins + len(ridden.ride.speed_mps) * world.step_s
        if world.sag_per_hour and sag_began is None and ends > world.sag_from_h * 3600:
            sag_began = number
        begins = math.ceil(ends + world.pause_s)
    at_yaw = 1 + world.yaw_drag * _mean_sin2_yaw(rides)
    setup_cda = {s: c * at_yaw for s, c in setup_cda.items()}
    truth = _truth(world, setup_cda, run_cda * at_yaw, sag_began, wind_from)
    return _session(world, labels, tuple(runs)), truth, tuple(rides)


@dataclass(frozen=True, slots=True, eq=False)
class _Day:
    """What all runs of a session share."""

    world: World
    phases: Array  # of the road's waves [rad]
    most_s: int  # longest that a run may take
    wind_mps: Array
    errors: Wandering
    rng: np.random.Generator
    beside: np.random.Generator

    def ride(self, number: int, label: str, cda_m2: float, begins: int) -> Ridden:
        world, rng = self.world, self.rng
        path = _path(world, number, self.phases, rng)
        steps = round(self.most_s / world.step_s)
        rider_wake, sensor_wake = wakes([v for v in world.vehicles if v.run == number], steps, world.step_s)
        weather = Weather(
            mean_mps=self.wind_mps[begins:],
            gust_sd_mps=world.gust_intensity * world.wind_mps,
            gust_length_m=world.gust_length_m,
            noise=rng.normal(size=(steps + 1, 2)),
            wake_mps=rider_wake,
        )
        body = _rolling(world, label, cda_m2, begins / 3600)
        effort = _strength(world, number, begins / 3600) * _effort(world, self.most_s, rng)
        ridden = ride(path, body, effort, weather, world.start_speed_mps, world.step_s)
        if ridden.distance_m[-1] < path.length_m:
            raise ValueError(f"run {number} ended after {ridden.distance_m[-1]:.0f} m of {path.length_m:.0f} m")
        return Ridden(path, ridden, body, begins, sensor_wake - rider_wake)

    def record(self, number: int, label: str, ridden: Ridden) -> Channels:
        gain = self.world.gain + _of(label, self.world.gain_by_setup)
        channels = record(self.world, ridden, gain=gain, errors=self.errors, rng=self.rng)
        holes = [h for h in self.world.holes if h.run == number]
        return lose(channels, holes, self.world.lost_share, self.beside)


def _strength(world: World, number: int, hours: float) -> float:
    """Share of the power that the rider holds in a run."""
    share = world.effort_by_run[number - 1] if number <= len(world.effort_by_run) else 1.0
    return share * (1 - world.effort_fade_per_hour * hours)


def _mean_sin2_yaw(rides: Sequence[Ridden]) -> float:
    """Mean over the session of sin^2(yaw), each step by its share of the drag's work."""
    totals = np.zeros(2)
    for r in rides:
        flow2 = r.ride.along_mps**2 + r.ride.cross_mps**2
        work = np.sqrt(flow2) * r.ride.along_mps * r.ride.speed_mps
        totals += [np.sum(work * r.ride.cross_mps**2 / np.maximum(flow2, 1e-9)), np.sum(work)]
    return float(totals[0] / totals[1])


def _of(label: str, by_setup: tuple[float, ...]) -> float:
    place = ord(label) - ord("A")
    return by_setup[place] if place < len(by_setup) else 0.0


def _longest_run_s(world: World) -> int:
    length = 2 * world.length_m if world.kind == "out_and_back" else world.laps * world.length_m
    return math.ceil(length / SLOWEST_MEAN_MPS + sum(stop.wait_s for stop in world.stops))


def _path(world: World, number: int, phases: Array, rng: np.random.Generator) -> Path:
    start = float(rng.normal(0, world.start_scatter_sd_m))
    other_way = number in world.other_way_runs
    if world.kind == "lap":
        path = turned_round(laps(world, phases, start)) if other_way else laps(world, phases, start)
    else:
        turn = world.length_m + float(rng.normal(0, world.turn_scatter_sd_m))
        path = out_and_back(world, phases, start, turn, from_far=other_way)
    stops = [Slow(s.at_m, 0.0, world.braking_mps2, s.wait_s) for s in world.stops if s.run == number]
    return replace(path, slows=(*path.slows, *stops), brakes=tuple(b for b in world.brakes if b.run == number))


def _effort(world: World, seconds: int, rng: np.random.Generator) -> Array:
    """Power each second: a level, and slow waves about it."""
    keep = math.exp(-1 / world.effort_time_s)
    start = rng.normal()
    waves = first_order(rng.normal(size=seconds) * math.sqrt(1 - keep * keep), keep, start)
    return np.asarray(world.power_w * (1 + world.effort_sd * waves))


def _rolling(world: World, label: str, cda_m2: float, hours: float) -> Rolling:
    radius = world.wheel_circumference_m / (2 * math.pi)
    return Rolling(
        cda_m2=cda_m2,
        crr=world.crr + _of(label, world.delta_crr_by_setup),
        mass_kg=world.mass_kg,
        effective_mass_kg=world.mass_kg + world.wheel_inertia_kg_m2 / radius**2,
        density_kg_m3=_density(world.temperature_k + world.warming_k_per_hour * hours, world),
        efficiency=world.drivetrain_efficiency,
        gravity_mps2=world.gravity_mps2,
        yaw_drag=world.yaw_drag,
    )


def _density(temperature_k: float, world: World) -> float:
    """Moist air by the short equation of OIML R 111-1 (E.3-1), within 2e-4: not the estimator's equation."""
    celsius = temperature_k - 273.15
    vapour = 0.009 * 100 * world.humidity * math.exp(0.061 * celsius)
    return (0.34848 * world.pressure_pa / 100 - vapour) / temperature_k


def _session(world: World, labels: list[str], runs: tuple[Run, ...]) -> Session:
    return Session(
        runs=runs,
        setups=tuple(Setup(s, _factors(world, place)) for place, s in enumerate(labels)),
        reference=labels[0],
        course=Course(world.kind, world.length_m, world.bearing_rad),
        bike=Bike(8.9, world.wheel_circumference_m, world.wheel_inertia_kg_m2),
        rider_mass_kg=world.mass_kg - 8.9 - 0.7,
        system_mass_kg=world.mass_kg,
        drivetrain_efficiency=world.drivetrain_efficiency,
    )


def _factors(world: World, place: int) -> dict[str, object]:
    """What a setup consists of; setups differ in one factor."""
    same: dict[str, object] = {"items.helmet": "Orlo Vent", "items.wheels": "Tarn 40", "items.tyres": "Pellin 28"}
    same["position"] = {"pad_stack_mm": 610.0}
    if not place:
        return same
    changed: object = f"variant {'ABCDEFGH'[place]}"
    return same | {world.factor: {"pad_stack_mm": 610.0 - 15.0 * place} if world.factor == "position" else changed}


def _truth(
    world: World, setup_cda: dict[str, float], run_cda: Array, sag_began: int | None, wind_from_rad: float
) -> Truth:
    ridden = {s: float(np.mean([c for c, r in zip(run_cda, world.order, strict=True) if r == s])) for s in setup_cda}
    first = min(setup_cda)
    return Truth(
        run_cda_m2=run_cda,
        setup_cda_m2=setup_cda,
        crr=world.crr,
        crr_by_setup={s: world.crr + _of(s, world.delta_crr_by_setup) for s in setup_cda},
        gain_at_start=world.gain,
        gain_by_setup={s: world.gain + _of(s, world.gain_by_setup) for s in setup_cda},
        gain_change_per_hour=world.sag_per_hour,
        sag_began_run=sag_began,
        wind_from_rad=wind_from_rad,
        wind_mps=world.wind_mps,
        run_delta_m2={s: ridden[s] - ridden[first] for s in ridden if s != first},
    )

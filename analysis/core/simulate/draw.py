"""A world drawn anew for every session: how wide each thing is spread. What a drawn thing does belongs to the others.

Spreads that stand against a prior of the estimator are at least as wide as it. Where no source is named the
range is an assumption about what studios meet outdoors (common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.core.simulate.scenarios import Scenario
from analysis.core.simulate.world import Brake, Hole, Stop, Vehicle, World

DEGREE = math.pi / 180


@dataclass(frozen=True, slots=True)
class Even:
    """Every value between two limits is as likely."""

    low: float
    high: float

    @property
    def sd(self) -> float:
        return (self.high - self.low) / math.sqrt(12)

    def draw(self, rng: np.random.Generator) -> float:
        return float(rng.uniform(self.low, self.high))


@dataclass(frozen=True, slots=True)
class Bell:
    """Normal about a mean."""

    mean: float
    sd: float

    def draw(self, rng: np.random.Generator) -> float:
        return float(rng.normal(self.mean, self.sd))


def _within(sd: float) -> Even:
    """Evenly spread about zero with a given standard deviation: bounded, so that no draw is absurd."""
    return Even(-sd * math.sqrt(3), sd * math.sqrt(3))


SPREADS: dict[str, Even | Bell] = {
    "wind_mps": Even(0.5, 5.0),
    "wind_from_rad": Even(0.0, 2 * math.pi),
    "wind_wander_mps": Even(0.3, 0.36),
    "wind_wander_rad": Even(10 * DEGREE, 12 * DEGREE),
    "gust_intensity": Even(0.15, 0.30),
    "gust_length_m": Even(15.0, 60.0),
    "temperature_k": Even(281.15, 301.15),
    "warming_k_per_hour": Even(0.0, 3.0),
    "pressure_pa": Even(96_000.0, 102_500.0),
    "humidity": Even(0.3, 0.9),
    "bearing_rad": Even(0.0, 2 * math.pi),
    "length_m": Even(1200.0, 2000.0),
    "undulation_m": Even(0.2, 2.0),
    "bend_radius_m": Even(45.0, 80.0),
    "start_scatter_sd_m": Even(3.0, 6.0),
    "turn_scatter_sd_m": Even(3.0, 6.0),
    "mass_kg": Even(65.0, 100.0),
    "cda_m2": Even(0.20, 0.32),
    "crr": Bell(0.0042, 0.0007),
    "power_w": Even(190.0, 320.0),
    "effort_sd": Even(0.02, 0.06),
    "effort_fade_per_hour": Even(0.0, 0.04),
    "run_scatter_sd_m2": Even(0.0006, 0.0020),
    "rider_drift_m2_per_hour": Bell(0.0, 0.003),
    "yaw_drag": Bell(0.0, 0.3),
    "turn_speed_mps": Even(2.5, 4.5),
    "braking_mps2": Even(1.5, 2.5),
    "pause_s": Even(150.0, 360.0),
    "power_gain": Even(0.979, 1.021),
    "power_wander_sd": Even(0.003, 0.0035),
    "power_noise": Even(0.02, 0.04),
    "power_delay_s": _within(0.41),
    "wheel_error": _within(0.003),
    "airspeed_noise_mps": Even(0.10, 0.25),
    "airspeed_delay_s": _within(0.41),
    "airspeed_lag_s": Even(0.1, 0.6),
    "gain": Even(0.88, 1.08),
    "yaw_offset_rad": Bell(0.0, 2 * DEGREE),
    "yaw_noise_rad": Even(0.3 * DEGREE, 1.0 * DEGREE),
    "tilt_noise_rad": Even(0.3 * DEGREE, 1.0 * DEGREE),
    "tilt_offset_rad": Even(-3 * DEGREE, 3 * DEGREE),
    "tilt_per_gain": Even(-45 * DEGREE, -22 * DEGREE),
    "position_wander_sd_m": Even(2.0, 4.0),
    "position_noise_m": Even(0.2, 0.5),
    "position_delay_s": _within(0.41),
    "altimeter_drift_m": Even(1.0, 3.0),
    "altimeter_noise_m": Even(0.1, 0.3),
    "lost_share": Even(0.0, 0.002),
}
DEPARTURE_SD = {True: 0.005, False: 0.001}  # [1] of the gain, near the air sensor and elsewhere
CRR_CHANGE = Bell(0.0, 0.0005)
DIFFERENCE = {True: Even(-0.012, 0.012), False: Even(-0.006, 0.006)}  # [m2] position, and equipment
TYRE_DIFFERENCE = Even(-0.002, 0.002)  # [m2]
SAG_PER_HOUR = Even(0.02, 0.06)  # [1/h] lost
SAG_FROM_SHARE = Even(0.25, 0.65)  # [1] of the session
TIRED_DRIFT = Even(0.003, 0.007)  # [m2/h]
TIRED_FADE = Even(0.06, 0.12)  # [1/h]
SLOW_SHARE = Even(0.45, 0.60)  # [1] of the power, in the slow runs of a test at two speeds
LAP_M = Even(900.0, 1500.0)
STOP_CHANCE, BRAKE_CHANCE = 0.15, 0.5  # of one event in a session


def draw_world(scenario: Scenario, rng: np.random.Generator) -> World:
    """Draw the world of one session.

    Parameters
    ----------
    scenario : Scenario
    rng : numpy.random.Generator
        The only source of chance [1].

    Returns
    -------
    World
        Everything that the session is made of, in SI [1].

    References
    ----------
    Gusts: the Dryden form in discrete time (MIL-F-8785C) with length and intensity about the values for open
    ground near 1.5 m (log law, Davenport-Wieringa classes).
    """
    drawn: dict[str, float] = {name: spread.draw(rng) for name, spread in SPREADS.items()}
    runs = len(scenario.order)
    others = len(set(scenario.order)) - 1
    special: dict[str, object] = {
        "order": scenario.order,
        "factor": scenario.factor,
        "kind": scenario.kind,
        "airspeed": scenario.airspeed,
        "tilt": scenario.tilt,
        "delta_cda_m2": tuple(_difference(scenario, rng) for _ in range(others)),
        "gain_by_setup": (0.0, *_departures(scenario, others, rng)),
        "start_speed_mps": 0.9 * _steady_mps(drawn),
        "pause_s": float(round(drawn["pause_s"])),
    }
    if scenario.tyres and not scenario.equal:
        special["delta_crr_by_setup"] = (0.0, *(CRR_CHANGE.draw(rng) for _ in range(others)))
    if scenario.kind == "lap":
        drawn["length_m"] = LAP_M.draw(rng)
    if scenario.two_speeds:
        slow = SLOW_SHARE.draw(rng)
        special["effort_by_run"] = tuple(slow if k // 4 % 2 else 1.0 for k in range(runs))
    if scenario.tired:
        drawn["rider_drift_m2_per_hour"], drawn["effort_fade_per_hour"] = TIRED_DRIFT.draw(rng), TIRED_FADE.draw(rng)
    run_m = drawn["length_m"] * (3 if scenario.kind == "lap" else 2)
    run_s = run_m / _steady_mps(drawn)
    if scenario.sag:
        special["sag_per_hour"] = -SAG_PER_HOUR.draw(rng)
        special["sag_from_h"] = SAG_FROM_SHARE.draw(rng) * runs * (run_s + drawn["pause_s"]) / 3600
        special["sag_shape"] = ("bend", "curve", "slip")[int(rng.integers(3))]
    special["stops"], special["brakes"] = _events(runs, run_m, rng)
    special["vehicles"] = _vehicles(runs, run_s, rng) if scenario.traffic else ()
    special["holes"] = _holes(runs, run_s, rng) if scenario.gaps else ()
    return World(**{**drawn, **special})  # type: ignore[arg-type]  # the test of the ranges builds every one


def _difference(scenario: Scenario, rng: np.random.Generator) -> float:
    if scenario.equal:
        return 0.0
    return (TYRE_DIFFERENCE if scenario.tyres else DIFFERENCE[scenario.near_sensor]).draw(rng)


def _departures(scenario: Scenario, others: int, rng: np.random.Generator) -> list[float]:
    sd = scenario.departure * DEPARTURE_SD[scenario.near_sensor]
    return [float(rng.normal(0.0, sd)) for _ in range(others)]


def _steady_mps(drawn: dict[str, float]) -> float:
    """Speed at which the drawn rider holds the drawn power in still air on level road, by Newton's method."""
    drag, roll = 0.6 * drawn["cda_m2"], drawn["crr"] * drawn["mass_kg"] * 9.81
    speed = 10.0
    for _ in range(8):
        speed -= (drag * speed**3 + roll * speed - 0.975 * drawn["power_w"]) / (3 * drag * speed**2 + roll)
    return speed


def _events(runs: int, run_m: float, rng: np.random.Generator) -> tuple[tuple[Stop, ...], tuple[Brake, ...]]:
    """A stop at a gate, and brakes touched with or without power, each in some sessions."""

    def place() -> tuple[int, float]:
        share = rng.uniform(0.1, 0.4) + 0.5 * rng.integers(2)  # away from start and turn
        return int(rng.integers(1, runs + 1)), float(share * run_m)

    stops = [Stop(*place(), wait_s=float(rng.uniform(8, 25)))] if rng.random() < STOP_CHANCE else []
    brakes = []
    if rng.random() < BRAKE_CHANCE:
        firm, kept = float(rng.uniform(0.5, 1.2)), float(rng.choice([0.0, rng.uniform(0.4, 1.0)]))
        brakes.append(Brake(*place(), over_m=float(rng.uniform(10, 30)), firm_mps2=firm, pedalling=kept))
    return tuple(stops), tuple(brakes)


def _vehicles(runs: int, run_s: float, rng: np.random.Generator) -> tuple[Vehicle, ...]:
    """About half of the runs meet one to three vehicles."""
    return tuple(
        Vehicle(
            run=run,
            at_s=float(rng.uniform(0.05, 0.9) * run_s),
            for_s=float(rng.uniform(4, 12)),
            calms_mps=float(rng.uniform(1.5, 4.0)),
            at_sensor=float(rng.uniform(0.4, 1.3)),
        )
        for run in range(1, runs + 1)
        if rng.random() < 0.5
        for _ in range(int(rng.integers(1, 4)))
    )


def _holes(runs: int, run_s: float, rng: np.random.Generator) -> tuple[Hole, ...]:
    """One to three holes in every run, in all streams or in one."""
    return tuple(
        Hole(
            run=run,
            at_s=float(rng.uniform(0.03, 0.92) * run_s),
            for_s=float(rng.uniform(3, 20)),
            stream=("all", "power", "air")[int(rng.integers(3))],
        )
        for run in range(1, runs + 1)
        for _ in range(int(rng.integers(1, 4)))
    )

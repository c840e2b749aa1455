"""Passing vehicles against gusts: simulated sessions whose vehicles are known."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.core.session import estimate
from analysis.core.simulate import World, simulate_session
from analysis.core.simulate.world import Vehicle
from analysis.core.types import Session

CALM = World(wind_mps=2.0, gust_intensity=0.2, start_scatter_sd_m=2.0, turn_scatter_sd_m=2.0)
VEHICLES = (Vehicle(3, 60.0, 8.0, 3.5, 0.9), Vehicle(6, 200.0, 6.0, 3.5, 1.0))


def named(session: Session) -> set[str]:
    return {w.where for w in estimate(session).warnings if w.code == "traffic"}


@pytest.mark.parametrize("kind", ["out_and_back", "lap"])
def test_runs_that_met_vehicles_are_named_and_no_others(kind):
    world = replace(CALM, kind=kind, vehicles=VEHICLES)
    session, _ = simulate_session(world, np.random.default_rng(41))
    assert named(session) == {"run 3", "run 6"}


def test_a_wake_that_sensor_and_rider_feel_alike_is_found_as_well():
    """The energy balance cannot see it: only the air tells that it is no gust."""
    session, _ = simulate_session(replace(CALM, vehicles=(Vehicle(5, 90.0, 9.0, 3.0, 1.0),)), np.random.default_rng(42))
    assert named(session) == {"run 5"}


def test_gusts_are_no_vehicles():
    gusty = replace(CALM, wind_mps=4.5, gust_intensity=0.3)
    assert not any(named(simulate_session(gusty, np.random.default_rng(seed))[0]) for seed in range(43, 48))


def test_what_a_vehicle_took_is_left_out():
    plain, _ = simulate_session(CALM, np.random.default_rng(41))
    passed, truth = simulate_session(replace(CALM, vehicles=VEHICLES), np.random.default_rng(41))
    with_them, without = estimate(passed), estimate(plain)
    assert with_them.runs[2].left_out_s > without.runs[2].left_out_s + 8.0
    assert abs(with_them.comparisons[0].delta_cda_m2 - truth.run_delta_m2["B"]) < 0.002

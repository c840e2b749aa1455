"""Worlds drawn anew: how wide each thing is spread, and that the spreads stand against the estimator's priors."""

import math

import numpy as np
import pytest

from analysis.core.simulate import SCENARIOS, World, draw_world
from analysis.core.simulate.draw import CRR_CHANGE, DEPARTURE_SD, SPREADS, Even

WORLDS = [draw_world(SCENARIOS["position"], np.random.default_rng([3, k])) for k in range(400)]

# Priors of the estimator as the design states them: assumptions of this project, no outside source.
PRIORS = {
    "crr": 0.0007,
    "rider_drift_m2_per_hour": 0.003,
    "yaw_drag": 0.3,
    "yaw_offset_rad": math.radians(2.0),
    "power_gain": 0.012,
    "power_delay_s": 0.4,
    "airspeed_delay_s": 0.4,
    "position_delay_s": 0.4,
    "wheel_error": 0.003,
}
AT_LEAST = {"wind_wander_mps": 0.3, "wind_wander_rad": math.radians(10.0), "power_wander_sd": 0.003}


def drawn(name: str):
    return np.array([getattr(world, name) for world in WORLDS])


@pytest.mark.parametrize("name", sorted(SPREADS))
def test_every_spread_is_drawn_over_its_whole_range(name):
    spread, values = SPREADS[name], drawn(name)
    if name == "pause_s":  # whole seconds
        values = values + 0.0
    print(f"{name}: {values.min():.5g} to {values.max():.5g}, SD {values.std():.3g}")  # noqa: T201 (the ranges are to be seen)
    if isinstance(spread, Even):
        slack = 0.5 if name == "pause_s" else 0.0
        assert spread.low - slack <= values.min()
        assert values.max() <= spread.high + slack
        assert np.ptp(values) > 0.95 * (spread.high - spread.low)
    assert values.std() == pytest.approx(spread.sd, rel=0.13)  # 3.5 standard errors of a deviation from 400


@pytest.mark.parametrize(("name", "sd"), PRIORS.items())
def test_no_spread_is_narrower_than_the_prior_that_meets_it(name, sd):
    assert SPREADS[name].sd >= sd * 0.9999


@pytest.mark.parametrize(("name", "least"), AT_LEAST.items())
def test_what_wanders_wanders_at_least_as_much_as_the_prior_says(name, least):
    assert drawn(name).min() >= least


def test_the_gain_departs_by_setup_as_the_prior_says_near_the_sensor_and_elsewhere():
    assert DEPARTURE_SD == {True: 0.005, False: 0.001}
    assert CRR_CHANGE.sd == 0.0005
    assert np.std([w.gain_by_setup[1] for w in WORLDS]) == pytest.approx(0.005, rel=0.13)


@pytest.mark.parametrize(("name", "times"), [("position-half-departure", 0.5), ("position-twice-departure", 2.0)])
def test_departure_scenarios_scale_the_same_departure(name, times):
    plain, scaled = (draw_world(SCENARIOS[s], np.random.default_rng(1)) for s in ("position", name))
    assert scaled.gain_by_setup[1] == pytest.approx(times * plain.gain_by_setup[1])


def test_riders_scatter_wind_and_gain_as_the_issue_asks():
    limits = {"run_scatter_sd_m2": (0.0006, 0.0020), "wind_mps": (0.5, 5.0), "gain": (0.88, 1.08)}
    assert {name: (SPREADS[name].low, SPREADS[name].high) for name in limits} == limits
    assert SPREADS["power_gain"].high >= 1.02
    assert (SPREADS["position_wander_sd_m"].low, SPREADS["position_wander_sd_m"].high) == (2.0, 4.0)


def test_the_family_holds_every_scenario_of_the_issue():
    named = "wheels position null-wheels null-position lap sag sag-no-tilt no-air four-runs sixteen-runs three-setups"
    named += " traffic gaps tyres tyres-two-speeds tired-rider history"
    assert set(named.split()) <= set(SCENARIOS)


@pytest.mark.parametrize("name", sorted(SCENARIOS))
def test_a_scenario_differs_from_the_ordinary_session_in_what_it_is_named_for(name):
    scenario = SCENARIOS[name]
    worlds = [draw_world(scenario, np.random.default_rng([4, k])) for k in range(8)]
    assert all(bool(w.vehicles) == scenario.traffic for w in worlds)
    assert all(bool(w.holes) == scenario.gaps for w in worlds)
    assert all((w.sag_per_hour < 0) == scenario.sag for w in worlds)
    assert all(w.tilt == scenario.tilt and w.airspeed == scenario.airspeed for w in worlds)
    assert all(set(w.delta_cda_m2) == {0.0} for w in worlds if scenario.equal)


def test_sag_comes_as_bend_curve_and_slip():
    shapes = {draw_world(SCENARIOS["sag"], np.random.default_rng([5, k])).sag_shape for k in range(20)}
    assert shapes == {"bend", "curve", "slip"}


def test_the_default_world_is_none_of_these():
    assert World() == World(
        vehicles=(), holes=(), brakes=(), stops=(), lost_share=0.0, yaw_drag=0.0, wind_wander_rad=0.0
    )

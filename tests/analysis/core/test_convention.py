"""Drag-area conventions: one force written in three ways (geometry; Martin et al. 1998 for the along-track one)."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.core.convention import STATED, convert
from analysis.core.course import lay_out
from analysis.core.road import Resistance, road_power
from analysis.core.samples import prepare
from analysis.core.simulate.course import Path
from analysis.core.simulate.motion import Rolling, Weather, accelerating, ride
from analysis.core.simulate.wind import wandering_mean
from analysis.core.simulate.world import World
from analysis.core.stretches import add_up
from analysis.core.types import Channels, Course, Run, Session, Setup

TEN = np.radians(10.0)
PRINT = 1e-6  # relative: forces are printed to eight digits, air speeds and yaw (that go in) to as many
DRAG_ONLY = Rolling(0.25, 0.0, 1.0, 1.0, 1.2, 1.0, 9.80665, 0.0, 0.0)


def test_a_wind_axis_area_has_its_body_axis_and_along_track_values():
    assert convert(0.230, TEN, "body_axis", 0.10) == pytest.approx(0.20914097, abs=1e-8)
    assert convert(0.230, TEN, "along_track", 0.10) == pytest.approx(0.21564341, abs=1e-8)


@pytest.mark.parametrize("through", ["body_axis", "along_track"])
def test_there_and_back_gives_the_same_area(through):
    there = convert(0.25, TEN, through, 0.05)
    assert convert(there, TEN, "wind_axis", 0.05, given=through) == pytest.approx(0.25, abs=1e-15)


def test_all_conventions_agree_without_yaw():
    assert {float(convert(0.24, 0.0, c, 0.3)) for c in ("wind_axis", "body_axis", "along_track")} == {0.24}


@pytest.fixture(scope="module")
def table(reference_table):
    return reference_table("yaw_conventions")


def test_the_air_that_a_simulated_rider_meets_is_the_tables(table):
    """Riding north; the table counts the cross wind from the right, the channel from the left."""
    zeros, chance = np.zeros(30), np.random.default_rng(1)
    north, free = Path(20.0, zeros, zeros, zeros, zeros), replace(DRAG_ONLY, cda_m2=0.0)
    for row in table:
        world = World(wind_mps=row["wind_mps"], wind_wander_mps=0.0)
        weather = Weather(wandering_mean(world, np.radians(row["from_deg"]), 5, chance))
        met = ride(north, free, np.zeros(5), weather, 10.0, 0.1)
        assert met.along_mps == pytest.approx(row["along_mps"], abs=1e-6)
        assert -met.cross_mps == pytest.approx(row["cross_mps"], abs=1e-6)
        yaw = np.arctan2(np.abs(met.cross_mps), met.along_mps)
        assert np.degrees(yaw) == pytest.approx(row["yaw_deg"], abs=1e-6)


def test_the_simulators_force_is_the_wind_axis_one(table):
    for row in table:
        force = -accelerating(DRAG_ONLY)(10.0, 0.0, 0.0, row["along_mps"], row["cross_mps"])
        assert force == pytest.approx(row["wind_axis_n"], rel=PRINT)


def test_road_powers_force_is_the_along_track_one(table):
    headwind = table["wind_mps"] * np.cos(np.radians(table["from_deg"]))
    power = road_power(10.0, Resistance(0.25, 0.0, 80.0, 1.2, headwind_mps=headwind))
    assert power.air_w / 10.0 == pytest.approx(table["along_track_n"], rel=PRINT)


def estimators_force_n(row, given: str) -> float:
    """0.25 m2 of a convention, made the estimator's own, times its X for each metre of a lap ridden in this air."""
    n = 241
    channels = Channels(
        time_s=np.arange(float(n)), speed_mps=np.full(n, 10.0), power_w=np.full(n, 250.0),
        airspeed_mps=row["along_mps"] + 1e-8 * (np.arange(n) % 2),  # a value that never moves is a stuck sensor's
        yaw_rad=np.full(n, np.radians(row["yaw_deg"])),
    )  # fmt: skip
    run = Run(1, "A", channels)
    session = Session((run,), (Setup("A"),), "A", Course("lap", 600.0), system_mass_kg=80.0)
    prepared = replace(prepare(session, run, None), density_kg_m3=np.full(n, 1.2))
    sums = add_up([prepared], lay_out([prepared], session.course), 1.0, 0.0)
    area = convert(0.25, np.radians(row["yaw_deg"]), "wind_axis", given=given)
    assert sums.sound.all()
    return float(area * sums.area_j_m2.sum() / sums.length_m.sum())


@pytest.mark.parametrize("given", ["wind_axis", "along_track", "body_axis"])
def test_the_estimators_force_is_that_of_every_convention(table, given):
    for row in table[:-1]:  # a yaw of 180 degrees is left out of the sums
        assert estimators_force_n(row, given) == pytest.approx(row[f"{given}_n"], rel=PRINT)


def test_what_is_stated_names_the_axis_and_the_neglect():
    assert "wind-axis" in STATED
    assert "side force neglected" in STATED

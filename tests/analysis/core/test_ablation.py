"""Taking a part out of the estimator does what its name says: else the yardstick's rows would show nothing."""

from dataclasses import replace
from functools import cache

import numpy as np

from analysis.core.ablation import PARTS
from analysis.core.session import estimate, warnings_of
from analysis.core.simulate import World, simulate_session
from analysis.core.simulate.world import Brake

POSITION = World(factor="position")
SAGGING = World(sag_per_hour=-0.05, sag_from_h=0.35)


@cache
def said(world: World, *without: str):
    session, _ = simulate_session(world, np.random.default_rng(8))
    return estimate(session, without=frozenset(without))


def width(result):
    low, high = result.comparisons[0].ci95_m2
    return high - low


def test_one_shared_gain_narrows_a_position_interval_by_what_it_ignores():
    assert width(said(POSITION, "departures")) < 0.9 * width(said(POSITION))


def test_a_gain_for_every_run_widens_the_interval():
    assert width(said(POSITION, "departures", "shared-gain")) > 1.5 * width(said(POSITION, "departures"))


def test_without_drift_a_sagging_mount_is_not_named_and_spoils_the_runs():
    named, silent = said(SAGGING), said(SAGGING, "drift")
    assert warnings_of(named, "airspeed_drift")
    assert not warnings_of(silent, "airspeed_drift")
    assert silent.comparisons[0].repeatability_sd_m2 > named.comparisons[0].repeatability_sd_m2


def test_without_alignment_passes_stay_where_the_wheel_places_them():
    scattered = replace(POSITION, start_scatter_sd_m=6.0, turn_scatter_sd_m=6.0)
    assert said(scattered, "alignment").assumptions["wheel_scale"] == 1.0
    assert said(scattered).assumptions["wheel_scale"] != 1.0


def test_a_stretch_that_was_braked_is_used_when_none_is_left_out():
    braked = replace(POSITION, brakes=(Brake(run=3, at_m=700.0, over_m=25.0, firm_mps2=0.8, pedalling=1.0),))
    assert said(braked, "odd-stretches").runs[2].used_s > said(braked).runs[2].used_s


def test_every_part_can_be_taken_out_together():
    assert said(POSITION, *PARTS).comparisons[0].delta_cda_m2 is not None

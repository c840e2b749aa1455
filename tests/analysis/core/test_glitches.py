"""What a channel shows to be its instrument's, and what a rider or the wind may well do."""

import numpy as np

from analysis.core.glitches import LEAP_AIR_MPS, at_its_top, leapt_power, tame

STEP = np.ones(60)


def burst(seconds, watts):
    power = np.full(60, 250.0)
    power[30 : 30 + seconds] = watts
    return power


def sped_up(work_j, at=30):
    """A wheel that feels so much work from sample `at` on: kinetic energy of 82 kg from 10 m/s."""
    speed = np.full(60, 10.0)
    speed[at:] = np.sqrt(10.0**2 + 2.0 * work_j / 82.0)
    return speed


def test_two_kilowatts_for_a_second_that_the_wheel_did_not_feel_are_the_meters():
    leapt = leapt_power(burst(1, 2000.0), np.full(60, 10.0), STEP, 82.0, 250.0)
    assert np.flatnonzero(leapt).tolist() == [30]


def test_a_jump_that_the_wheel_felt_is_the_riders():
    assert not leapt_power(burst(1, 1200.0), sped_up(950.0), STEP, 82.0, 250.0).any()


def test_a_sprint_is_no_leap():
    assert not leapt_power(burst(6, 900.0), np.full(60, 10.0), STEP, 82.0, 250.0).any()


def test_power_at_its_usual_noise_never_leaps():
    power = 250.0 * (1.0 + 0.1 * np.random.default_rng(1).standard_normal(60))
    assert not leapt_power(power, np.full(60, 10.0), STEP, 82.0, 250.0).any()


def test_without_a_mass_a_leap_is_still_one():
    assert leapt_power(burst(1, 2000.0), np.full(60, 10.0), STEP, np.nan, 250.0)[30]


def test_single_leaps_up_and_down_are_gaps():
    air = 11.0 + 0.5 * np.sin(np.arange(60.0))
    air[20], air[40] = 60.0, 0.0
    assert np.flatnonzero(np.isnan(tame(air, LEAP_AIR_MPS))).tolist() == [20, 40]


def test_a_gust_that_stays_is_kept():
    air = np.full(60, 11.0)
    air[20:26] = 19.0
    assert np.isfinite(tame(air, LEAP_AIR_MPS)).all()


def test_a_leap_beside_a_gap_is_found():
    air = np.full(60, 11.0)
    air[19], air[20] = np.nan, 60.0
    assert np.isnan(tame(air, LEAP_AIR_MPS)[20])


def test_a_series_of_a_few_samples_is_left_as_it_is():
    assert tame(np.array([1.0, 90.0, 1.0]), 5.0).tolist() == [1.0, 90.0, 1.0]


def test_a_sensor_that_can_read_no_more_stands_at_its_top():
    air = 12.0 + np.random.default_rng(2).standard_normal(300)
    assert at_its_top(np.minimum(air, 13.0)).sum() == (air >= 13.0).sum()


def test_a_sensor_within_its_range_stands_nowhere_even_with_coarse_steps():
    air = 12.0 + np.random.default_rng(3).standard_normal(3000)
    for step in (1e-6, 0.01, 0.1, 0.25):
        assert not at_its_top(np.round(air / step) * step).any()


def test_a_value_that_is_repeated_until_the_next_one_comes_is_no_top():
    air = np.repeat(12.0 + np.random.default_rng(4).standard_normal(300), 10)
    air = np.concatenate([np.repeat(20.0, 10), [19.0], air])  # the highest for a second, the next one once
    assert not at_its_top(air).any()


def test_one_value_only_is_for_the_blocked_sensor_to_tell():
    assert not at_its_top(np.full(100, 9.0)).any()

"""What a drawn world does to a session: fatigue, wakes, dropouts, lag, veering wind, drag by yaw, three sags."""

import math
from dataclasses import replace

import numpy as np
import pytest

from analysis.core.simulate import World, simulate_session
from analysis.core.simulate.motion import Rolling, accelerating
from analysis.core.simulate.noise import first_order, wandering
from analysis.core.simulate.sensors import sag_since
from analysis.core.simulate.wind import veering, wakes
from analysis.core.simulate.world import Brake, Hole, Vehicle

CALM = World(
    order="AA",
    wind_mps=0.0,
    run_scatter_sd_m2=0.0,
    wind_wander_mps=0.0,
    power_noise=0.0,
    speed_noise_mps=0.0,
    airspeed_noise_mps=0.0,
    yaw_noise_rad=0.0,
    undulation_m=0.0,
    effort_sd=0.0,
    length_m=800.0,
)


def ride(**changes):
    return simulate_session(replace(CALM, **changes), np.random.default_rng(1))


def channels(run: int = 0, **changes):
    return ride(**changes)[0].runs[run].channels


def test_a_rider_who_tires_sits_up_and_holds_less_power():
    session, truth = ride(rider_drift_m2_per_hour=0.006, effort_fade_per_hour=0.1)
    hours = session.runs[1].channels.time_s[0] / 3600
    assert truth.run_cda_m2[1] - truth.run_cda_m2[0] == pytest.approx(0.006 * hours, rel=1e-3)
    first, second = (np.max(run.channels.power_w) for run in session.runs)
    assert second / first == pytest.approx(1 - 0.1 * hours, rel=1e-3)


def test_runs_can_be_ridden_at_their_own_power():
    session, _ = ride(effort_by_run=(1.0, 0.5))
    assert [run.channels.power_w.max() for run in session.runs] == pytest.approx([250.0, 125.0])


def test_brakes_that_drag_cost_speed_with_the_power_kept():
    still, braked = channels(), channels(brakes=(Brake(1, 400.0, 30.0, 0.8, 1.0),))
    at = int(np.searchsorted(braked.distance_m, 435.0))
    assert braked.power_w[at - 3] == pytest.approx(250.0)
    lost = still.speed_mps[at] ** 2 - braked.speed_mps[at] ** 2
    assert lost == pytest.approx(2 * 0.8 * 30.0, rel=0.2)  # work of the brakes over 30 m, a little of it won back


def test_a_wake_calms_the_air_at_rider_and_sensor_by_their_own_shares():
    rider, sensor = wakes([Vehicle(1, 10.0, 8.0, 3.0, 0.5)], 400, 0.1)
    assert rider.min() == pytest.approx(-3.0)
    assert sensor == pytest.approx(0.5 * rider)
    assert rider[:100].tolist() == [0.0] * 100


def test_a_vehicle_speeds_its_run_up_and_shows_at_the_sensor():
    met, alone = channels(vehicles=(Vehicle(1, 30.0, 8.0, 3.0, 0.5),)), channels()
    assert met.airspeed_mps[33] - met.speed_mps[33] == pytest.approx(-1.5, abs=0.15)
    assert met.speed_mps[40] > alone.speed_mps[40] + 0.05


def test_holes_take_rows_or_one_stream():
    whole = channels()
    holed = channels(holes=(Hole(1, 20.0, 5.0), Hole(1, 40.0, 4.0, "power"), Hole(1, 60.0, 3.0, "air")))
    assert whole.time_s.size - holed.time_s.size == 5
    assert np.isnan(holed.power_w).sum() == 4
    assert np.isnan(holed.airspeed_mps).sum() == np.isnan(holed.yaw_rad).sum() == 3


def test_single_samples_go_missing_at_the_stated_share():
    whole, lossy = channels(length_m=2000.0), channels(length_m=2000.0, lost_share=0.1)
    assert 1 - lossy.time_s.size / whole.time_s.size == pytest.approx(0.1, abs=0.05)  # 3.3 standard errors of 400


def test_a_first_order_sensor_follows_a_step_as_the_closed_form_says():
    keep = math.exp(-0.1 / 0.5)
    followed = first_order(np.full(20, 1 - keep), keep, 0.0)
    assert followed[9] == pytest.approx(1 - math.exp(-1.0 / 0.5))


def test_a_wandering_error_has_its_deviation_and_its_correlation_time():
    series = np.array([wandering(601, 0.003, 600.0, np.random.default_rng(k)) for k in range(1500)])
    assert series.std(axis=0)[[0, 600]] == pytest.approx([0.003, 0.003], rel=0.07)
    assert np.corrcoef(series[:, 0], series[:, 600])[0, 1] == pytest.approx(math.exp(-1), abs=0.09)


def test_the_direction_of_the_wind_walks_ten_degrees_in_ten_minutes():
    world, steady = World(wind_wander_rad=math.radians(10)), np.tile([0.0, 4.0], (601, 1))
    ends = [veering(world, steady, np.random.default_rng(k))[600] for k in range(1500)]
    angles = np.degrees([math.atan2(-east, north) for east, north in ends])
    assert angles.std() == pytest.approx(10.0, rel=0.07)
    assert np.hypot(*ends[0]) == pytest.approx(4.0)


def test_drag_grows_with_the_square_of_the_sine_of_the_yaw():
    body = Rolling(0.24, 0.0, 80.0, 80.0, 1.2, 1.0, 9.81, 0.0, 0.0)
    plain, swept = (accelerating(replace(body, yaw_drag=k))(10.0, 0.0, 0.0, 10.0, 5.0) for k in (0.0, 0.5))
    assert swept / plain == pytest.approx(1 + 0.5 * 25 / 125)


@pytest.mark.parametrize(("shape", "lost"), [("bend", (0.01, 0.04)), ("slip", (0.04, 0.04))])
def test_a_mount_bends_or_slips(shape, lost):
    world = World(sag_per_hour=-0.04, sag_from_h=0.5, sag_shape=shape)
    assert sag_since(world, np.array([0.2, 0.75, 1.5]) * 3600) == pytest.approx([0.0, -lost[0], -lost[1]])


def test_a_mount_that_curves_has_lost_the_same_within_an_hour_and_most_of_it_early():
    world = World(sag_per_hour=-0.04, sag_from_h=0.5, sag_shape="curve")
    half, whole = sag_since(world, np.array([1.0, 1.5]) * 3600)
    assert whole == pytest.approx(-0.04)
    assert 0.8 < half / whole < 0.9


def test_the_power_meter_wanders_about_its_gain():
    ratio = channels(power_wander_sd=0.01, power_gain=1.02).power_w[:50] / channels().power_w[:50]
    assert ratio.mean() == pytest.approx(1.02, abs=0.03)
    assert np.ptp(ratio) > 0


def test_late_satellite_fixes_lag_behind_the_wheel():
    late, prompt = channels(position_delay_s=0.5, length_m=900.0), channels(length_m=900.0)
    back = (late.latitude_rad - prompt.latitude_rad)[20:60] * 6.37e6
    assert back.mean() == pytest.approx(-0.5 * prompt.speed_mps[20:60].mean() * math.cos(CALM.bearing_rad), rel=0.05)

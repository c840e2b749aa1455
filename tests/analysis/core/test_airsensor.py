"""Closure of the air sensor: what cancels, what gusts leave, what the mount's tilt says."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import lfilter

from analysis.core.airsensor import Blocks, close, gather, measure_gusts, mount_tilt
from analysis.core.gusts import Gusts
from analysis.core.samples import prepare
from analysis.core.simulate.session import simulate_session
from analysis.core.simulate.world import World
from tests.analysis.core.steadily import block_m, on_laps, squared, steady

CALM = Gusts(0.0, 0.1, 4.0)


def legs(gain: float, wind: list[float], speed=(10.0, 10.0), cross: float = 0.0, yaw_offset: float = 0.0) -> Blocks:
    """Out and back legs of several runs; `wind` blows against the outward leg, `cross` from its left."""
    n = 2 * len(wind)
    way = np.tile([1.0, -1.0], len(wind))
    ground = np.tile(speed, len(wind))
    air = ground + way * np.repeat(wind, 2)
    side = np.tan(np.arctan2(way * cross, air) + yaw_offset) * air
    begin = 200.0 * np.arange(n)
    runs = np.repeat(np.arange(len(wind)), 2).astype(float)
    return Blocks(runs, begin, begin + 150.0, gain * air, gain * side, ground, way, np.zeros(n), np.full(n, 150.0))


@pytest.mark.parametrize("gain", [0.9, 1.0, 1.08])
def test_over_an_out_and_back_the_wind_cancels(gain):
    closure = close(legs(gain, [3.0] * 4, speed=(9.0, 12.0)), 4, CALM, CALM, has_yaw=False)
    assert np.exp(closure.log_gain) == pytest.approx(gain, rel=2e-3)
    assert closure.wind_mps == pytest.approx(3.0, abs=0.05)


def test_the_yaw_offset_turns_round_with_the_rider():
    closure = close(legs(1.0, [2.0] * 8, cross=1.5, yaw_offset=np.radians(1.5)), 8, CALM, CALM, has_yaw=True)
    assert closure.yaw_offset_rad == pytest.approx(np.radians(1.5), abs=np.radians(0.15))


def test_a_run_alone_knows_its_gain_to_about_a_percent():
    """Gusts of 0.6 m/s and 4 s over legs of 150 s, a mean that wanders: the noise a run-by-run calibration takes in."""
    closure = close(legs(1.0, [2.5] * 8), 8, Gusts(0.15, 0.625, 4.0), CALM, has_yaw=False)
    assert np.all((np.sqrt(np.diag(closure.covariance)) > 0.008) & (np.sqrt(np.diag(closure.covariance)) < 0.02))


@pytest.mark.parametrize(
    ("length", "tau", "ratio"), [(60, 5, 0.39086809), (270, 5, 0.19065982), (600, 5, 0.12856041), (270, 10, 0.26707787)]
)
def test_gusts_average_out_as_an_exponentially_correlated_series_does(length, tau, ratio):
    """sigma_mean / sigma = sqrt(2 tau/T (1 - tau/T (1 - exp(-T/tau)))) (closed form)."""
    covariance = Gusts(0.0, 1.0, tau).mean_covariance(np.zeros(1), np.array([float(length)]))
    assert np.sqrt(covariance[0, 0]) == pytest.approx(ratio, abs=1e-8)


def test_neighbouring_blocks_share_the_gust_between_them():
    apart = np.array([0.0, 20.0])
    two = Gusts(0.0, 1.0, 4.0).mean_covariance(apart, apart + 20.0)
    whole = Gusts(0.0, 1.0, 4.0).mean_covariance(np.zeros(1), np.array([40.0]))
    assert two.mean() == pytest.approx(whole[0, 0], rel=1e-12)  # the mean of both halves is the mean of the whole


def test_the_roads_slope_is_no_tilt_of_the_mount():
    world = World(undulation_m=3.0, tilt_offset_rad=np.radians(1.2), order="AB")
    session, _ = simulate_session(world, np.random.default_rng(5))
    runs = [prepare(session, r, None) for r in session.runs]
    tilt, error = mount_tilt(runs)
    assert tilt == pytest.approx(np.radians(1.2), abs=4 * error.max())
    assert error.max() < np.radians(0.06)


def test_without_the_channel_there_is_no_tilt():
    session, _ = simulate_session(World(tilt=False, order="AB"), np.random.default_rng(5))
    runs = [replace(prepare(session, r, None), tilt_rad=None) for r in session.runs]
    assert mount_tilt(runs) is None


def test_street_corners_in_a_steady_wind_are_no_gusts():
    """A block of 250 m by 250 m in 5 m/s: at each corner the headwind turns within three seconds."""
    ride = squared(steady(8.0, 200.0, 500))
    way = np.gradient(ride.east_m + 1j * ride.north_m, ride.time_s)
    head = 5.0 * (way / np.abs(way) * np.exp(-0.6j)).real
    runs = [replace(ride, air_mps=ride.speed_mps + np.roll(head, 1))]  # the sensor comes a second late
    layout = on_laps(runs, block_m())
    assert measure_gusts(runs, layout, [np.arange(500) > 0], 1.0).sd_mps < 0.3


def test_a_lap_of_twenty_seconds_tells_the_gain():
    runs = [squared(steady(12.5, 300.0, 300), side_m=67.0)]
    layout = on_laps(runs, block_m(67.0))
    blocks = gather(runs, layout, [np.arange(300) > 0])
    assert blocks.run.size >= 2 * 300 * 12.5 / block_m(67.0)


@pytest.mark.parametrize("side_m", [67.0, 110.0])
def test_round_a_short_block_a_steady_wind_cancels(side_m):
    """Each part of a lap faces the way from its first step's begin to its last step's end, or no lap closes."""
    ride = squared(steady(12.0, 300.0, 600), side_m)
    place = ride.east_m + 1j * ride.north_m
    way = np.diff(place, prepend=place[0] - 12.0)
    runs = [replace(ride, air_mps=1.05 * (12.0 + 5.0 * (way / np.abs(way) * np.exp(-0.6j)).real))]
    layout = on_laps(runs, block_m(side_m))
    blocks = gather(runs, layout, [np.arange(600) > 0])
    faces = np.column_stack([blocks.ground_mps, blocks.east, blocks.north])
    assert np.linalg.lstsq(faces, blocks.air_mps)[0][0] == pytest.approx(1.05, abs=0.004)


def test_a_run_of_one_lap_keeps_its_gusts():
    """Gusts of 0.5 m/s that last 4 s, on one lap of a block in a steady wind: no slow part of them is the course's."""
    rng = np.random.default_rng(4)
    ride = squared(steady(10.0, 250.0, 158), side_m=400.0)
    way = np.gradient(ride.east_m + 1j * ride.north_m)
    steady_wind = 4.0 * (way / np.abs(way)).real
    keep = np.exp(-0.25)
    runs = [
        replace(ride, air_mps=10.0 + steady_wind + lfilter([0.5 * np.sqrt(1.0 - keep**2)], [1.0, -keep], noise)[50:])
        for noise in rng.normal(0.0, 1.0, (8, 208))
    ]
    gusts = measure_gusts(runs, on_laps(runs, block_m(400.0)), [np.arange(158) > 0] * 8, 1.0)
    assert gusts.sd_mps == pytest.approx(0.5, abs=0.12)
    assert gusts.time_s == pytest.approx(4.0, abs=2.0)

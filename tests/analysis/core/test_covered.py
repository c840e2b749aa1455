"""Distance and time in motion of a recording, against motion whose distance is known in closed form."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.core.covered import covered
from analysis.core.types import Channels

T = np.arange(301.0)
SPEED = 10.0 + 3.0 * np.sin(2 * np.pi * T / 60.0)  # five whole waves: their mean is 10 m/s
DISTANCE = 10.0 * T + 3.0 * 60.0 / (2 * np.pi) * (1 - np.cos(2 * np.pi * T / 60.0))
RIDE = Channels(time_s=T, speed_mps=SPEED, distance_m=DISTANCE)


@pytest.mark.parametrize("missing", ["distance_m", "speed_mps"])
def test_distance_and_speed_tell_the_same(missing):
    found = covered(replace(RIDE, **{missing: None}))
    assert found.distance_m == pytest.approx(3000.0, rel=1e-3)
    assert found.time_s == 300.0


def test_places_tell_it_where_no_wheel_does():
    """A degree of the meridian at the equator is 110574 m (WGS-84 tables; from memory)."""
    north = Channels(time_s=T, latitude_rad=np.radians(DISTANCE / 110574.0), longitude_rad=np.zeros(301))
    assert covered(north).distance_m == pytest.approx(3000.0, rel=1e-4)


def test_a_stop_is_neither_distance_nor_time():
    stopped = np.where((T > 100) & (T < 161), 0.0, 10.0)
    found = covered(Channels(time_s=T, speed_mps=stopped))
    assert found.time_s == pytest.approx(240.0, abs=1.0)
    assert found.distance_m == pytest.approx(2400.0, abs=10.0)


def test_a_gap_is_neither_though_the_wheel_went_on():
    kept = (T <= 100) | (T >= 160)
    found = covered(Channels(time_s=T[kept], distance_m=10.0 * T[kept]))
    assert (found.distance_m, found.time_s) == (2400.0, 240.0)


def test_missing_samples_of_a_channel_are_not_bridged():
    speed = np.full(301, 10.0)
    speed[50:60] = np.nan
    assert covered(Channels(time_s=T, speed_mps=speed)).time_s == 289.0


def test_without_any_motion_channel_the_distance_is_unknown_and_time_is_that_of_the_samples():
    found = covered(Channels(time_s=T, power_w=np.full(301, 200.0)))
    assert (found.distance_m, found.time_s) == (None, 300.0)
    nowhere = Channels(time_s=T, latitude_rad=np.full(301, np.nan), longitude_rad=np.full(301, np.nan))
    assert covered(nowhere).distance_m is None

"""What one run can tell by itself: places, gaps, dropouts, mass, weather."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.core.glitches import blocked_air
from analysis.core.samples import bridged, prepare, system_mass_kg
from analysis.core.types import Bike, Channels, Course, Run, Session, Setup, WeatherReading

NAN = np.nan


def channels(n=120, **changes) -> Channels:
    t = np.arange(float(n))
    plain = Channels(time_s=t, speed_mps=np.full(n, 10.0), power_w=np.full(n, 250.0), airspeed_mps=10.0 + np.sin(t))
    return replace(plain, **changes)


def session(run: Run, **changes) -> Session:
    return replace(Session((run,), (Setup("A"),), "A", Course("out_and_back", 500.0), system_mass_kg=82.0), **changes)


def ready(c: Channels, **changes):
    run = Run(1, "A", c)
    return prepare(session(run, **changes), run, None)


def test_short_gaps_are_bridged_and_long_ones_stay():
    t = np.arange(12.0)
    values = np.array([1.0, NAN, 3.0, 4.0, NAN, NAN, NAN, NAN, NAN, 10.0, 11.0, NAN])
    filled = bridged(t, values)
    assert filled[1] == 2.0
    assert np.isnan(filled[4:9]).all()
    assert np.isnan(filled[11])  # nothing on its other side


def test_a_zero_of_one_sample_is_the_meters_and_ten_are_the_riders():
    blink, rest = np.full(120, 250.0), np.full(120, 250.0)
    blink[40], rest[40:50] = 0.0, 0.0
    assert ready(channels(power_w=blink)).power_w[40] == 250.0
    assert ready(channels(power_w=rest)).power_w[45] == 0.0


def test_missing_power_is_counted_and_unsound():
    missing = np.full(120, 250.0)
    missing[40:50] = NAN
    run = ready(channels(power_w=missing))
    assert run.dropout_s == 10.0
    assert not run.sound[40:50].any()


def test_a_hole_in_the_recording_is_unsound_and_counted():
    t = np.concatenate([np.arange(60.0), np.arange(80.0, 140.0)])
    run = ready(channels(time_s=t))
    assert run.gap_s == 21.0
    assert not run.sound[60]
    assert run.sound[61]


@pytest.mark.parametrize("air", [np.full(60, 6.3), np.abs(np.random.default_rng(0).normal(0.1, 0.05, 60))])
def test_a_stuck_or_silent_air_sensor_is_seen(air):
    assert (
        blocked_air(np.arange(60.0), air, np.full(60, 10.0)).all()
        or blocked_air(np.arange(60.0), air, np.full(60, 10.0)).sum() >= 58
    )


def test_a_strong_tail_wind_is_not_a_blockage():
    air = 1.0 + np.random.default_rng(0).normal(0.0, 0.6, 60)
    assert not blocked_air(np.arange(60.0), air, np.full(60, 8.0)).any()


def test_yaw_over_sixty_degrees_is_left_out():
    yaw = np.zeros(120)
    yaw[50] = np.radians(65)
    assert not ready(channels(yaw_rad=yaw)).sound[50]


def test_mass_is_the_runs_then_the_setups_then_the_sessions_then_rider_and_bike():
    run, setup = Run(1, "A", channels()), Setup("A", {}, 83.0)
    s = session(run, setups=(setup,), rider_mass_kg=70.0, bike=Bike(mass_kg=9.0))
    assert system_mass_kg(s, replace(run, system_mass_kg=84.0)) == 84.0
    assert system_mass_kg(s, run) == 83.0
    assert system_mass_kg(replace(s, setups=(Setup("A"),)), run) == 82.0
    assert system_mass_kg(replace(s, setups=(Setup("A"),), system_mass_kg=None), run) == 79.0
    assert system_mass_kg(replace(s, setups=(Setup("A"),), system_mass_kg=None, rider_mass_kg=None), run) is None


def test_weather_is_the_recorded_then_the_noted_then_the_standard_one():
    noted = (WeatherReading(0.0, 290.0, 100_000.0, 0.5), WeatherReading(119.0, 292.0, 100_000.0, 0.5))
    recorded = ready(channels(temperature_k=np.full(120, 300.0), pressure_pa=np.full(120, 99_000.0)), weather=noted)
    assert (recorded.temperature_k, recorded.pressure_pa) == (300.0, 99_000.0)
    assert ready(channels(), weather=noted).temperature_k == pytest.approx(291.0)
    standard = ready(channels())
    assert (standard.temperature_k, standard.pressure_pa, standard.has_weather) == (288.15, 101_325.0, False)


def test_an_impossible_reading_of_the_air_is_a_gap():
    broken = channels(temperature_k=np.full(120, 290.0), pressure_pa=np.full(120, 0.0))
    assert (ready(broken).pressure_pa, ready(broken).has_weather) == (101_325.0, False)


@pytest.mark.parametrize("broken", [{"power_w": None}, {"power_w": np.full(120, NAN)}, {"speed_mps": None}])
def test_a_run_without_power_or_motion_is_not_usable(broken):
    assert ready(channels(**broken)) is None

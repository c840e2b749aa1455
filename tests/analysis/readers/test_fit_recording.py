"""FIT files from an independent encoder: values, developer fields, laps, events, devices, chained files."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from analysis.readers.faults import Refused
from analysis.readers.recording import Limits, read_recording
from tests.analysis.readers.fit_files import fit_file

START = datetime(2026, 5, 9, 8, tzinfo=UTC)
SAMPLES = [
    {
        "position_lat": 52.31 + second * 1e-5,
        "position_long": -34.38,
        "altitude": 12.2,
        "distance": 10.0 * second,
        "speed": 10.0 + second / 10,
        "power": 250 + second,
        "cadence": 90,
        "heart_rate": 140,
        "temperature": 18,
    }
    for second in range(20)
]


@pytest.fixture(scope="module")
def plain():
    return fit_file(START, SAMPLES, laps=((0, 8), (8, 16)))


@pytest.fixture(scope="module")
def with_developer_fields():
    return fit_file(START, SAMPLES[:5], developer=[(12.0 + second, -4.5, 300.0) for second in range(5)])


def test_every_channel_has_the_value_that_was_written(plain):
    recording = read_recording("day.fit", plain)
    assert (recording.format, recording.start, recording.notes) == ("fit", START, ())
    assert recording.time_s.tolist() == list(range(20))
    for field, channel, step in (
        ("position_lat", "latitude_deg", 1e-7),  # a semicircle is 8.4e-8 degrees
        ("position_long", "longitude_deg", 1e-7),
        ("altitude", "altitude_m", 1e-9),
        ("distance", "distance_m", 1e-9),
        ("speed", "speed_mps", 1e-9),
        ("power", "power_w", 0),
        ("cadence", "cadence_rpm", 0),
        ("heart_rate", "heart_rate_bpm", 0),
        ("temperature", "temperature_c", 0),
    ):
        written = np.array([sample[field] for sample in SAMPLES])
        assert np.abs(recording.columns[channel] - written).max() <= step, channel


def test_the_name_does_not_decide_the_format(plain):
    assert read_recording("day.csv", plain).format == "fit"


def test_laps_are_counted_and_the_open_one_goes_on(plain):
    recording = read_recording("day.fit", plain)
    assert [(lap.number, lap.start_s) for lap in recording.laps] == [(1, 0), (2, 8), (3, 16)]
    assert recording.columns["lap"].tolist() == [1] * 8 + [2] * 8 + [3] * 4


def test_events_and_devices_are_told(plain):
    recording = read_recording("day.fit", plain)
    assert [(event.time_s, event.event, event.kind) for event in recording.events] == [(0, "timer", "start")]
    assert recording.device["file"] == [{"manufacturer": "development", "serial_number": 4711}]
    assert recording.device["devices"][0]["serial_number"] == 42
    assert (recording.device["parts"], recording.device["sessions"]) == (1, 1)


def test_a_developer_field_fills_an_empty_channel(with_developer_fields):
    columns = read_recording("day.fit", with_developer_fields).columns
    assert columns["airspeed_mps"].tolist() == [12, 13, 14, 15, 16]
    assert columns["yaw_deg"].tolist() == [-4.5] * 5


def test_a_developer_field_stands_beside_the_native_one_of_its_name(with_developer_fields):
    recording = read_recording("day.fit", with_developer_fields)
    assert recording.columns["power_w"].tolist() == [250, 251, 252, 253, 254]
    assert recording.extra["developer0.power"].tolist() == [300] * 5
    assert recording.extra_units["developer0.power"] == "watts"


def test_the_studios_mapping_may_prefer_the_developer_field(with_developer_fields):
    recording = read_recording("day.fit", with_developer_fields, mapping={"developer0.power": "power_w"})
    assert recording.columns["power_w"].tolist() == [300] * 5
    assert recording.extra["power"].tolist() == [250, 251, 252, 253, 254]


def test_chained_files_become_one_recording_in_order_of_time(plain):
    later = fit_file(START + timedelta(hours=1), SAMPLES[:5], laps=((0, 5),))
    recording = read_recording("day.fit", later + plain)
    assert recording.time_s.tolist() == [*range(20), *range(3600, 3605)]
    assert recording.device["parts"] == 2
    assert recording.columns["lap"][-1] == 3
    assert "put in order of time" in recording.notes[0].what


def test_a_missing_field_is_a_gap():
    samples = [dict(SAMPLES[0]), {"power": 251}, dict(SAMPLES[2])]
    columns = read_recording("day.fit", fit_file(START, samples)).columns
    assert np.isnan(columns["speed_mps"]).tolist() == [False, True, False]
    assert columns["power_w"].tolist() == [250, 251, 252]


def test_the_cap_on_samples_is_named(plain):
    with pytest.raises(Refused, match=r"day.fit, samples: found more than 10 samples; allowed: at most 10"):
        read_recording("day.fit", plain, limits=Limits(max_samples=10))


def test_a_file_without_samples_is_refused():
    with pytest.raises(Refused, match=r"found no record with a time; allowed: a FIT activity"):
        read_recording("day.fit", fit_file(START, []))


def test_a_field_that_is_no_channel_is_kept_under_its_own_name():
    recording = read_recording("day.fit", fit_file(START, [{"power": 250, "grade": 2.5}] * 3))
    assert recording.extra["grade"].tolist() == [2.5] * 3
    assert recording.extra_units["grade"] == "%"


def test_times_since_power_on_are_no_clock():
    since_power_on = datetime(1989, 12, 31, 1, tzinfo=UTC)  # an hour after the format's zero
    recording = read_recording("day.fit", fit_file(since_power_on, SAMPLES[:3]))
    assert recording.start is None
    assert recording.time_s.tolist() == [3600, 3601, 3602]


def test_a_repeated_time_keeps_the_first_sample(plain):
    recording = read_recording("day.fit", plain + plain)
    assert recording.time_s.tolist() == list(range(20))
    assert any("20 of 40 samples repeat a time" in note.what for note in recording.notes)


def test_values_out_of_range_become_gaps_and_are_noted():
    samples = [dict(SAMPLES[0]) for _ in range(20)]
    samples[3]["power"] = 60_000
    recording = read_recording("day.fit", fit_file(START, samples))
    assert np.flatnonzero(np.isnan(recording.columns["power_w"])).tolist() == [3]
    assert recording.notes[0].code == "gaps"

"""Times of CSV files: zones, missing zones, seconds. Offsets are of the IANA time zone database (Azores: UTC+0 in
summer, UTC-1 in winter; Kathmandu: UTC+5:45)."""

from datetime import UTC, datetime

import pytest

from analysis.readers.faults import Refused
from analysis.readers.recording import read_recording


def recording(*times, zone=None):
    return read_recording(
        "run.csv", ("time,power_w\n" + "".join(f"{time},200\n" for time in times)).encode(), zone=zone
    )


@pytest.mark.parametrize(
    "text",
    ["2026-05-09T08:00:00Z", "2026-05-09T13:45:00+05:45", "2026-05-09 03:00:00-05:00", "2026-05-09T08:00:00.000000Z"],
)
def test_a_zone_in_the_text_is_obeyed(text):
    found = recording(text, zone="Asia/Kathmandu")
    assert found.start == datetime(2026, 5, 9, 8, tzinfo=UTC)
    assert found.notes == ()


@pytest.mark.parametrize(("zone", "hour"), [("Atlantic/Azores", 8), ("Asia/Kathmandu", 2), (None, 8)])
def test_without_a_zone_the_sessions_is_assumed_and_stated(zone, hour):
    found = recording("2026-05-09T08:00:00", "2026-05-09T08:00:01", zone=zone)
    assert found.start.hour == hour
    assert [note.code for note in found.notes] == ["zone_assumed"]
    assert (zone or "UTC") in found.notes[0].what


def test_an_unknown_zone_is_refused():
    with pytest.raises(Refused, match="zone: found 'Mid/Atlantic'; allowed: an IANA time zone"):
        recording("2026-05-09T08:00:00", zone="Mid/Atlantic")


def test_local_times_over_the_change_to_summer_time_go_on_evenly():
    found = recording("2026-03-28T23:59:59", "2026-03-29T01:00:01", zone="Atlantic/Azores")
    assert found.time_s.tolist() == [0, 2]


def test_fractions_of_a_second_are_kept():
    found = recording("2026-05-09T08:00:00.25Z", "2026-05-09T08:00:00.50Z", "2026-05-09T08:00:01Z")
    assert found.time_s.tolist() == [0, 0.25, 0.75]


def test_mixed_layouts_are_read_cell_by_cell():
    found = recording("2026-05-09T08:00:00Z", "2026-05-09T08:00:01.5+00:00", "2026-05-09T09:00:02+01:00")
    assert found.time_s.tolist() == [0, 1.5, 2]


def test_seconds_have_no_start():
    found = recording("12.5", "13.5")
    assert found.start is None
    assert found.time_s.tolist() == [12.5, 13.5]


def test_seconds_since_1970_are_taken_for_a_clock_and_stated():
    found = recording("1778313600", "1778313601")  # 2026-05-09T08:00:00Z by POSIX time
    assert found.start == datetime(2026, 5, 9, 8, tzinfo=UTC)
    assert [note.code for note in found.notes] == ["zone_assumed"]


@pytest.mark.parametrize("text", ["2026-05-09", "09/05/2026 08:00:00", "2026-02-30T08:00:00Z", "0026-05-09T08:00:00Z"])
def test_other_dates_are_refused(text):
    with pytest.raises(Refused, match=r"line 2, time: .* allowed: ISO 8601"):
        recording(text, text)


@pytest.mark.parametrize("time", ["1e15", "-1e300", "nan"])
def test_seconds_of_no_calendar_are_refused_with_their_line(time):
    with pytest.raises(Refused, match=rf"run.csv, line 3, time: found '{time}'"):
        read_recording("run.csv", f"time,power_w\n0,250\n{time},251\n".encode())

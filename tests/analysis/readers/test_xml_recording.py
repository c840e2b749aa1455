"""TCX and GPX: elements of the schemas and usual extensions by local name, laps, damage, hostile documents."""

import numpy as np
import pytest

from analysis.readers.faults import Refused
from analysis.readers.limits import Limits
from analysis.readers.recording import read_recording
from tests.analysis.readers.xml_files import START, gpx_file, stamp, tcx_file, trackpoint

BOTH = pytest.mark.parametrize("make", [tcx_file, gpx_file], ids=["tcx", "gpx"])


def whats(recording, code):
    return [note.what for note in recording.notes if note.code == code]


def test_tcx_gives_every_channel_that_was_written():
    recording = read_recording("day.xml", tcx_file())
    assert (recording.format, recording.start, recording.notes) == ("tcx", START, ())
    assert recording.time_s.tolist() == list(range(20))
    last = {name: float(values[-1]) for name, values in recording.columns.items()}
    assert last == {
        "latitude_deg": 52.31019, "longitude_deg": -34.38, "altitude_m": 12.2, "distance_m": 190,
        "heart_rate_bpm": 140, "cadence_rpm": 90, "speed_mps": 11.9, "power_w": 269, "lap": 1,
    }  # fmt: skip


def test_gpx_gives_every_channel_that_was_written_and_invents_no_distance():
    recording = read_recording("day.xml", gpx_file())
    assert (recording.format, recording.start, recording.notes) == ("gpx", START, ())
    last = {name: float(values[-1]) for name, values in recording.columns.items()}
    assert last == {
        "latitude_deg": 52.31019, "longitude_deg": -34.38, "altitude_m": 12.2, "power_w": 269,
        "temperature_c": 18, "heart_rate_bpm": 140, "cadence_rpm": 90, "speed_mps": 10.5, "lap": 1,
    }  # fmt: skip


@BOTH
def test_laps_and_segments_are_spans(make):
    laps = read_recording("day", make(((0, 8), (10, 16)))).laps
    assert [(lap.number, lap.start_s, lap.end_s) for lap in laps] == [(1, 0, 10), (2, 10, float("inf"))]


@BOTH
def test_own_channels_come_by_name_or_by_the_mapping(make):
    extra = "<airspeed_mps>12.5</airspeed_mps><flow>-4.5</flow><flow>9</flow>"
    recording = read_recording("day", make(extra=extra), mapping={"Flow": "yaw_deg*2+1"})
    assert set(recording.columns["airspeed_mps"]) == {12.5}
    assert set(recording.columns["yaw_deg"]) == {-8.0}  # of two leaves of one name the first counts


@BOTH
def test_numbers_that_are_no_channel_stay_beside_and_texts_are_named(make):
    recording = read_recording("day", make(extra="<flow>3</flow><mood>good</mood>"))
    assert recording.extra["flow"].tolist() == [3] * 20
    assert "mood" in recording.device["unread_fields"]


def test_the_device_is_told():
    assert read_recording("day", tcx_file()).device["file"] == [
        {"product_name": "Roadside", "serial_number": "4711", "software_version": "2"}
    ]
    assert read_recording("day", gpx_file()).device["file"] == [{"product_name": "Roadside 2"}]


def test_a_laps_first_point_may_repeat_the_former_laps_last():
    recording = read_recording("day", tcx_file(((0, 10), (9, 20))))
    assert (recording.time_s.tolist(), recording.notes) == (list(range(20)), ())


@BOTH
def test_a_repeated_time_within_a_lap_is_noted_and_the_first_kept(make):
    recording = read_recording("day", make().replace(stamp(5).encode(), stamp(4).encode()))
    assert recording.columns["power_w"].size == 19
    assert recording.columns["power_w"][4] == 254
    assert "1 of 20 samples repeat a time (first in line 6)" in whats(recording, "file_damaged")[0]


@BOTH
def test_time_that_goes_back_is_put_in_order_and_noted(make):
    recording = read_recording("day", make(((10, 20), (0, 10))))
    assert recording.columns["power_w"].tolist() == [250 + second for second in range(20)]
    assert "put in order of time" in whats(recording, "file_damaged")[0]


@BOTH
def test_gaps_spikes_and_missing_points(make):
    text = make(((0, 60),)).replace(b">255<", b">NaN<").replace(b">256<", b">99999<").replace(b">257<", b"><")
    recording = read_recording("day", text)
    assert np.flatnonzero(np.isnan(recording.columns["power_w"])).tolist() == [5, 6, 7]
    assert len(whats(recording, "gaps")) == 2


@BOTH
def test_no_number_in_a_channel_is_refused_with_its_line(make):
    with pytest.raises(Refused, match=r"day, line 6, (Watts|power): found 'fast'; allowed: a number"):
        read_recording("day", make().replace(b">255<", b">fast<"))


@BOTH
def test_a_wrong_time_is_refused_with_its_line(make):
    with pytest.raises(Refused, match=r"day, line 3, time: found 'soon'; allowed: ISO 8601"):
        read_recording("day", make().replace(f"ime>{stamp(2)}".encode(), b"ime>soon"))


@BOTH
def test_times_without_zone_take_the_sessions_and_say_so(make):
    recording = read_recording("day", make().replace(b"Z<", b"<").replace(b'Z"', b'"'), zone="Atlantic/Azores")
    assert recording.start == START  # summer time of the Azores is UTC
    assert "Atlantic/Azores was assumed" in whats(recording, "zone_assumed")[0]


@BOTH
def test_points_without_time_are_left_out_or_refused(make):
    text = make()
    recording = read_recording("day", text.replace(stamp(7).encode(), b""))
    assert recording.time_s.size == 19
    assert "1 points have no time" in whats(recording, "file_damaged")[0]
    for second in range(20):
        text = text.replace(f"ime>{stamp(second)}<".encode(), b"ime><")
    with pytest.raises(Refused, match="found 20 points and no time"):
        read_recording("day", text)


@BOTH
def test_a_cut_file_gives_its_whole_points_and_says_where_it_ends(make):
    text = make(((0, 700),))
    recording = read_recording("day", text[: len(text) // 2])
    power = recording.columns["power_w"]
    assert 300 < power.size < 360
    assert power.tolist() == [250 + second for second in range(power.size)]
    assert "reading stopped (" in whats(recording, "file_damaged")[0]


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig", "latin-1"])
def test_encodings_of_the_standard(encoding):
    declared = {"utf-8-sig": "UTF-8", "latin-1": "ISO-8859-1"}.get(encoding, encoding)
    text = tcx_file().decode().replace("UTF-8", declared).replace("Roadside", "Stra\u00dfe")
    recording = read_recording("day", text.encode(encoding))
    assert recording.device["file"][0]["product_name"] == "Stra\u00dfe"


BOMB = b'<!DOCTYPE gpx [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]>'
OUTSIDE = b'<!DOCTYPE gpx SYSTEM "file:///etc/hostname">'


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (gpx_file().replace(b"<gpx", BOMB + b"<gpx"), "a document type or entities"),
        (gpx_file().replace(b"<gpx", OUTSIDE + b"<gpx"), "a document type or entities"),
        (b"<html><body/></html>", r"an XML document of another kind \(its root is 'html'\)"),
        (b"<gpx></gpx>", "found 0 points and no time"),
        (b"<<<", "found no GPX or TCX document; reading stopped"),
        (b'<?xml version="1.0" encoding="nonsense"?><gpx/>', "reading stopped"),
        (b"<gpx>" + b"<a>" * 60, "elements nested deeper than 50"),
        (b"<gpx " + b'a="' + b"x" * 3_200_000 + b'"/>', "one tag of more than 1 MiB"),
        (b"<gpx>" + b"".join(b"<a%d/>" % at for at in range(2100)), "more than 2000 kinds of elements"),
        (b"<gpx><trkpt>" + b"".join(b"<a%d>1</a%d>" % (at, at) for at in range(300)), "more than 200 fields"),
        (b"<gpx>" + b"<trkseg/>" * 10_001 + b"</gpx>", "more than 10000 laps"),
    ],
    ids=["entities", "outside", "kind", "empty", "no xml", "encoding", "deep", "tag", "kinds", "fields", "laps"],
)
def test_hostile_documents_are_refused(data, sentence):
    with pytest.raises(Refused, match=sentence):
        read_recording("day.gpx", data, limits=Limits(max_bytes=4_000_000))


def test_the_cap_on_samples_is_named():
    with pytest.raises(Refused, match="found more than 10 samples; allowed: at most 10"):
        read_recording("day", gpx_file(), limits=Limits(max_samples=10))


def test_a_point_that_never_ends_keeps_one_value_a_field():
    recording = read_recording(
        "day", tcx_file().replace(b"</TPX>", b"") + trackpoint(30).encode()[:90] + b"<a>1</a>" * 9
    )
    assert recording.time_s.size == 20

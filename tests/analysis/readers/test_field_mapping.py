"""Foreign headers: the default table and the studio's own mapping. Factors: NIST SP 811 (mile, foot, inch of the
international yard; degree Fahrenheit), exact."""

import numpy as np
import pytest

from analysis.readers.faults import Refused
from analysis.readers.mapping import default_target
from analysis.readers.recording import read_recording


@pytest.mark.parametrize(
    ("header", "channel", "given", "expected"),
    [
        ("Speed (km/h)", "speed_mps", 36.0, 10.0),
        ("speed [mph]", "speed_mps", 10.0, 4.4704),
        ("Air Speed (m/s)", "airspeed_mps", 12.0, 12.0),
        ("Distance (km)", "distance_m", 1.5, 1500.0),
        ("Altitude (ft)", "altitude_m", 1000.0, 304.8),
        ("Temperature (°F)", "temperature_c", 68.0, 20.0),
        ("temp [K]", "temperature_c", 293.15, 20.0),
        ("Pressure (Pa)", "pressure_hpa", 100850.0, 1008.5),
        ("Power", "power_w", 250.0, 250.0),
        ("HEART RATE", "heart_rate_bpm", 140.0, 140.0),
        ("position_lat (semicircles)", "latitude_deg", 2.0**30, 90.0),
        ("yaw_deg (rad)", "yaw_deg", np.pi, 180.0),
        ("Humidity (%)", "humidity_pct", 55.0, 55.0),
    ],
)
def test_plain_words_with_units_are_understood(header, channel, given, expected):
    target = default_target(header)
    assert target is not None
    assert target.channel == channel
    assert given * target.scale + target.offset == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("header", ["Speed", "distance", "pressure", "Speed (knots)", "watts per kilo", "", "()"])
def test_what_cannot_be_told_is_left_alone(header):
    assert default_target(header) is None


def test_unread_columns_are_noted():
    recording = read_recording("run.csv", b"Time;Power (W);Speed;mood\n0;250;36;good\n1;251;36;bad\n")
    assert list(recording.columns) == ["power_w"]
    assert [note.code for note in recording.notes] == ["unknown_key"]
    assert "'Speed, mood'" in recording.notes[0].what
    assert recording.device["fields"] == {"Time": "time", "Power (W)": "power_w"}


def test_the_studios_mapping_wins_over_the_table():
    mapping = {"sensor 1": "airspeed_mps*0.1+2", "power": "", "watts2": "power_w"}
    data = b"time,sensor 1,power,watts2\n0,100,9999,250\n1,110,9999,251\n"
    recording = read_recording("run.csv", data, mapping=mapping)
    assert recording.columns["airspeed_mps"].tolist() == [12, 13]
    assert recording.columns["power_w"].tolist() == [250, 251]


@pytest.mark.parametrize("rule", ["velocity", "power_w*", "power_w*fast", "power_w/2"])
def test_a_wrong_mapping_is_refused_with_what_is_allowed(rule):
    with pytest.raises(Refused, match=r"mapping, watts: found .* allowed: 'channel', 'channel\*scale'"):
        read_recording("run.csv", b"time,watts\n0,1\n", mapping={"watts": rule})

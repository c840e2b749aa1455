"""CSV with the published channel names: values, times, gaps, and what is refused with its line."""

import re
from datetime import UTC, datetime

import numpy as np
import pytest

from analysis.readers.faults import Refused
from analysis.readers.recording import Limits, read_recording
from tests.analysis.readers.bundles import csv_bytes

THREE = b"""time,power_w,speed_mps
2026-05-09T08:00:01Z,250,10.5
2026-05-09T08:00:02Z,251,10.6
2026-05-09T08:00:04Z,252,10.7
"""


def codes(recording):
    return [warning.code for warning in recording.notes]


def test_values_and_times_are_those_of_the_text():
    recording = read_recording("run.csv", THREE)
    assert (recording.format, recording.start) == ("csv", datetime(2026, 5, 9, 8, 0, 1, tzinfo=UTC))
    assert recording.time_s.tolist() == [0, 1, 3]
    assert recording.columns["power_w"].tolist() == [250, 251, 252]
    assert recording.columns["speed_mps"].tolist() == [10.5, 10.6, 10.7]
    assert recording.notes == ()


def test_a_yaw_a_little_beyond_the_back_is_the_same_direction():
    """A rider who stands with the wind behind: the sensor's noise passes 180 degrees, and nothing is lost."""
    values = ["-181.5", "180", "179.9", "181"]
    text = "time,power_w,yaw_deg\n" + "".join(f"{k},250,{v}\n" for k, v in enumerate(values))
    recording = read_recording("run.csv", text.encode())
    assert recording.columns["yaw_deg"].tolist() == [178.5, 180.0, 179.9, -179.0]
    assert "gaps" not in codes(recording)


def test_the_same_from_a_file_on_disk(tmp_path):
    (tmp_path / "run.csv").write_bytes(THREE)
    recording = read_recording("run.csv", tmp_path / "run.csv")
    assert recording.columns["power_w"].tolist() == [250, 251, 252]


@pytest.mark.parametrize(
    "rewrite",
    [
        lambda text: text.replace(b"\n", b"\r\n"),
        lambda text: text.replace(b"\n", b"\r"),
        lambda text: b"\xef\xbb\xbf" + text,
        lambda text: text.replace(b",", b";"),
        lambda text: text.replace(b",", b"\t"),
        lambda text: text.replace(b",", b"|"),
        lambda text: text.replace(b",", b";").replace(b".", b","),
        lambda text: text.replace(b"10.5", b'"10,5"').replace(b"10.6", b'"10,6"').replace(b"10.7", b'"10,7"'),
        lambda text: b"sep=,\n" + text,
        lambda text: text.replace(b"\n", b"\n\n"),
        lambda text: text.replace(b"\n", b",,\n"),
        lambda text: text.replace(b"250", b' "250" ').replace(b"Z", b""),
        lambda text: text.replace(b"T", b" ").replace(b"Z", b"+00:00"),
        lambda text: text.rstrip(b"\n"),
    ],
    ids=[
        "windows line ends", "old line ends", "byte order mark", "semicolon", "tab", "pipe", "decimal comma",
        "quoted decimal comma", "separator line", "blank lines", "empty cells at the end", "quotes and blanks",
        "blank and offset", "no last line end",
    ],
)  # fmt: skip
def test_the_same_numbers_however_the_text_is_written(rewrite):
    recording = read_recording("run.csv", rewrite(THREE), zone="UTC")
    assert recording.start == datetime(2026, 5, 9, 8, 0, 1, tzinfo=UTC)
    assert recording.time_s.tolist() == [0, 1, 3]
    assert recording.columns["power_w"].tolist() == [250, 251, 252]
    assert recording.columns["speed_mps"].tolist() == [10.5, 10.6, 10.7]


def test_an_empty_cell_is_a_gap_without_a_word():
    recording = read_recording("run.csv", THREE.replace(b"251", b""))
    assert np.isnan(recording.columns["power_w"]).tolist() == [False, True, False]
    assert recording.notes == ()


@pytest.mark.parametrize("text", [b"NaN", b"inf", b"-Infinity", b"n/a", b"--"])
def test_a_text_that_is_no_finite_number_is_a_gap_and_noted(text):
    recording = read_recording("run.csv", THREE.replace(b"251", text))
    assert np.isnan(recording.columns["power_w"]).tolist() == [False, True, False]
    assert codes(recording) == ["gaps"]
    assert "1 values of power_w" in recording.notes[0].what


def test_a_repeated_time_keeps_the_first_and_says_so():
    recording = read_recording("run.csv", THREE.replace(b"08:00:02", b"08:00:01"))
    assert recording.columns["power_w"].tolist() == [250, 252]
    assert codes(recording) == ["file_damaged"]
    assert "first in line 3" in recording.notes[0].what


def test_lines_are_named_rightly_after_a_repeated_time():
    lines = csv_bytes(40).split(b"\n")
    lines.insert(3, lines[2])
    lines[30] = lines[30].replace(b",10.5,", b",999,")
    assert "first in line 31" in read_recording("run.csv", b"\n".join(lines)).notes[1].what


def test_rows_without_any_value_are_as_blank_lines():
    recording = read_recording("run.csv", THREE + b",,\n , ,\n")
    assert (recording.time_s.tolist(), recording.notes) == ([0, 1, 3], ())


def test_a_cut_last_line_is_left_out_and_named():
    recording = read_recording("run.csv", THREE[: THREE.rindex(b",")])
    assert recording.time_s.size == 2
    assert "line 4" in recording.notes[0].what


def test_a_spike_becomes_a_gap_and_is_named():
    data = csv_bytes(40).replace(b",250,", b",99999,", 1)
    recording = read_recording("run.csv", data)
    assert np.count_nonzero(np.isnan(recording.columns["power_w"])) == 1
    assert "first in line 2" in recording.notes[0].what


def test_a_column_in_the_wrong_unit_is_refused():
    with pytest.raises(Refused, match=r"line 2, pressure_hpa: found 100850 .* allowed: 500 to 1100 hPa"):
        read_recording("run.csv", csv_bytes().replace(b"1008.5", b"100850"))


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (b"251", b"fast", r"run.csv, line 3, power_w: found 'fast'; allowed: a number"),
        (b"251", b"2_51", r"line 3, power_w: found '2_51'"),
        (b"251", "٢٥١".encode(), r"line 3, power_w: found '٢٥١'"),
        (b"10.6", b'"1,006"', r"line 3, speed_mps: found '1,006'; allowed: a number with decimal sign '\.'"),
        (b"08:00:04", b"07:59:04", r"line 4, time: found a time 58 s before the line above"),
        (b"2026-05-09T08:00:02Z", b"yesterday", r"line 3, time: found 'yesterday'; allowed: ISO 8601"),
        (b"2026-05-09T08:00:02Z", b"2026-13-09T08:00:02Z", r"line 3, time: found '2026-13-09T08:00:02Z'"),
        (b"2026-05-09T08:00:02Z", b"", r"line 3, time: found ''"),
        (b",251,", b",251,7,", r"line 3, line: found 4 cells; allowed: 3 cells as in the header"),
        (b",251,10.6", b",251", r"line 3, line: found 2 cells"),
        (b",251,", b',"251\n",', r"line 3, line: found quoted text over several lines"),
        (b"251", b"\x00\x01", r"line 3, file: found binary data"),
        (b"251", b"\xff\xfe", r"line 3, file: found bytes that are no UTF-8 \(ff fe"),
        (b"time,", b"when,", r"line 1, time: found the columns 'when, power_w, speed_mps'"),
        (b"speed_mps", b"power_w", r"run.csv, power_w: found a second column"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_line(old, new, sentence):
    with pytest.raises(Refused, match=sentence):
        read_recording("run.csv", THREE.replace(old, new, 1))


def quoted(*powers):
    return "time,power_w\n" + "".join(f'{at},"{power}"\n' for at, power in enumerate(powers))


@pytest.mark.parametrize("powers", [("1,034", "1,120"), ("950", "1,034"), ("1,034,000", "12")])
def test_commas_that_may_stand_between_thousands_are_refused(powers):
    with pytest.raises(Refused, match=r"line \d, power_w: found '1,034.*', which may be thousands"):
        read_recording("run.csv", quoted(*powers).encode())


@pytest.mark.parametrize("proof", ["10,5", "0,125"])
def test_one_number_that_has_no_thousands_settles_the_comma(proof):
    recording = read_recording("run.csv", quoted("1,034", proof).encode())
    assert recording.columns["power_w"][0] == 1.034


def test_a_speed_of_thousands_is_no_speed_and_settles_the_comma():
    data = b'time,power_w,speed_mps\n0,"1,034","10,512"\n1,"1,035","10,513"\n'
    assert read_recording("run.csv", data).columns["speed_mps"].tolist() == [10.512, 10.513]


def test_every_fault_is_listed_not_only_the_first():
    with pytest.raises(Refused, match="fast") as refusal:
        read_recording("run.csv", THREE.replace(b"250", b"fast").replace(b"10.7", b"slow"))
    assert [(fault.line, fault.key) for fault in refusal.value.faults] == [(2, "power_w"), (4, "speed_mps")]


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "found an empty file"),
        (b" \n\n", "found an empty file"),
        (b"time,power_w\n", "found a header and no sample"),
        (b"PK\x03\x04....", "found a zip archive"),
        (b"%PDF-1.7", "found a PDF"),
        (b"<kml></kml>", "found an XML document of another kind .its root is 'kml'"),
        (b'{"runs": 1}', "found a JSON document"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "found binary data"),
        (b"just words\nand more\n", "a column 'time'"),
    ],
)
def test_a_file_of_another_kind_is_refused(data, sentence):
    with pytest.raises(Refused, match=sentence):
        read_recording("run.csv", data)


def test_five_samples_are_read():
    assert read_recording("run.csv", csv_bytes(5)).time_s.size == 5


def test_caps_are_named_when_met():
    with pytest.raises(Refused, match=r"found more than 30 samples; allowed: at most 30"):
        read_recording("run.csv", csv_bytes(31), limits=Limits(max_samples=30))
    with pytest.raises(Refused, match=r"allowed: at most 0\.000\d+ MiB a recording"):
        read_recording("run.csv", csv_bytes(31), limits=Limits(max_bytes=1000))


def test_rows_beyond_one_block_keep_their_order_and_lines():
    data = csv_bytes(1300)
    recording = read_recording("run.csv", data)
    assert recording.time_s.tolist() == list(range(1300))
    lines = data.split(b"\n")
    lines[1200] = lines[1200].replace(b",10.5,", b",x,")
    with pytest.raises(Refused, match="line 1201, speed_mps: found 'x'"):
        read_recording("run.csv", b"\n".join(lines))


def test_laps_are_spans_of_the_lap_column():
    text = "time,power_w,lap\n" + "".join(f"{second},200,{1 + second // 4}\n" for second in range(10))
    laps = read_recording("run.csv", text.encode()).laps
    assert [(lap.number, lap.start_s, lap.end_s) for lap in laps] == [(1, 0, 4), (2, 4, 8), (3, 8, float("inf"))]


def test_one_value_that_no_sensor_has_seen_is_told_as_one():
    with pytest.raises(Refused, match=re.escape("power_w: found -99999 out of range; allowed: -500 to 5000 W")):
        read_recording("run.csv", b"time,power_w\n0,-99999\n1,200\n")
    with pytest.raises(
        Refused, match=re.escape("found 3e+09 and 1 more values out of range; allowed: -1 to 2000000 m")
    ):
        read_recording("run.csv", b"time,power_w,distance_m\n0,200,3e9\n1,200,3e9\n")

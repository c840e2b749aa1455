"""What a preview says of a file before it is tied to runs."""

import gzip
import json

import pytest

from analysis.readers.faults import Refused
from analysis.readers.limits import Limits
from analysis.readers.preview import preview
from tests.analysis.readers.bundles import START, csv_bytes
from tests.analysis.readers.fit_files import fit_file
from tests.analysis.readers.xml_files import gpx_file, tcx_file

FIT = fit_file(START, [{"power": 250 + at % 3, "speed": 10.0} for at in range(60)], laps=((0, 30), (30, 60)))


@pytest.mark.parametrize(
    "data",
    [csv_bytes(60), FIT, tcx_file(((0, 60),)), gpx_file(((0, 60),)), gzip.compress(FIT, mtime=0)],
    ids=["csv", "fit", "tcx", "gpx", "gzip"],
)
def test_every_format_gives_plain_json(data):
    said = preview("day", data).document()
    assert json.loads(json.dumps(said, allow_nan=False)) == said
    assert (said["samples"], said["step_s"], said["zone"]) == (60, 1, "given")
    assert (said["start"], said["end"]) == ("2026-05-09T08:00:00Z", "2026-05-09T08:00:59Z")
    assert said["device_key"].startswith("device-")


def test_channels_with_their_cover_and_ends():
    text = b"time,power_w,Speed (km/h)\n" + b"".join(
        b"%d,%s,36\n" % (at, b"" if at % 4 else b"25%d" % at) for at in range(8)
    )
    power, speed = sorted(preview("run.csv", text).document()["channels"], key=lambda channel: channel["name"])
    assert power == {
        "name": "power_w", "unit": "W", "field": "power_w", "coverage": 0.25, "lowest": 250, "highest": 254,
    }  # fmt: skip
    assert (speed["field"], speed["highest"]) == ("Speed (km/h)", pytest.approx(10))


def test_what_was_not_understood_and_what_it_resembles():
    said = preview("run.csv", b"time,power_w,Speed,mood\n0,1,36,good\n").document()
    assert said["fields_left"] == [
        {"field": "Speed", "suggestion": "speed_mps", "suggestion_unit": "m/s"},
        {"field": "mood", "suggestion": None, "suggestion_unit": None},
    ]
    assert said["zone"] == "none"


def test_a_mapping_changes_what_is_found():
    said = preview("run.csv", b"time,Speed\n0,36\n", mapping={"Speed": "speed_mps*0.1"}).document()
    assert said["channels"][0]["highest"] == pytest.approx(3.6)
    assert said["fields_left"] == []


def test_gaps_are_counted_and_the_longest_named():
    rows = "".join(f"{at},200\n" for at in range(100) if not 10 < at < 20 and not 50 < at < 55)
    said = preview("run.csv", f"time,power_w\n{rows}".encode()).document()
    assert (said["gaps"], said["gaps_s"]) == (2, 15)
    assert said["longest_gaps"][0] == {"start_s": 10, "end_s": 20, "number": None}


def test_laps_and_an_assumed_zone():
    said = preview("day", tcx_file(((0, 30), (30, 60))).replace(b"Z<", b"<"), zone="Atlantic/Azores").document()
    assert [(lap["number"], lap["end_s"]) for lap in said["laps"]] == [(1, 30), (2, 59)]
    assert said["zone"] == "assumed"
    assert [note["code"] for note in said["notes"]] == ["zone_assumed"]


def test_what_cannot_be_read_is_refused():
    with pytest.raises(Refused, match="an empty file"):
        preview("day", b"")
    with pytest.raises(Refused, match="more than 30 samples"):
        preview("day", FIT, limits=Limits(max_samples=30))


def test_the_coarser_of_two_fit_fields_that_say_the_same_is_not_called_unread():
    said = preview("day.fit", FIT).document()
    assert {"speed_mps", "power_w"} <= {channel["name"] for channel in said["channels"]}
    assert said["fields_left"] == []

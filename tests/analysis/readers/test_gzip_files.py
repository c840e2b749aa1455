"""Recordings packed by gzip (RFC 1952), of every format; bombs, nests and cuts are refused."""

import gzip
import zlib

import pytest

from analysis.readers.faults import Refused
from analysis.readers.limits import Limits
from analysis.readers.recording import read_recording
from tests.analysis.readers.bundles import START, csv_bytes
from tests.analysis.readers.fit_files import fit_file
from tests.analysis.readers.xml_files import gpx_file, tcx_file

CONTENTS = {
    "csv": csv_bytes(20),
    "tcx": tcx_file(),
    "gpx": gpx_file(),
    "fit": fit_file(START, [{"power": 250, "speed": 10.0}] * 20),
}


@pytest.mark.parametrize("kind", CONTENTS)
def test_packed_is_read_as_unpacked(kind):
    plain, packed = (read_recording("day", data) for data in (CONTENTS[kind], gzip.compress(CONTENTS[kind])))
    assert packed.format == kind
    assert packed.columns["power_w"].tolist() == plain.columns["power_w"].tolist()


def test_members_in_a_row_and_filling_zeros_are_one_file():
    data = CONTENTS["csv"]
    packed = gzip.compress(data[:300]) + gzip.compress(data[300:]) + bytes(512)
    assert read_recording("day.csv.gz", packed).time_s.size == 20


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (gzip.compress(gzip.compress(b"x")), "a gzip inside the gzip"),
        (gzip.compress(b"PK\x03\x04"), "a zip inside the gzip"),
        (gzip.compress(CONTENTS["csv"])[:-20], "a broken gzip .it is cut off"),
        (gzip.compress(CONTENTS["csv"])[:-6] + bytes(6), "a broken gzip .*incorrect data check"),
        (gzip.compress(CONTENTS["csv"]) + b"more", "a broken gzip .*incorrect header check"),
        (gzip.compress(b""), "an empty file"),
        (gzip.compress(bytes(5_000_000)), "that unpacks to more than 2.. times its size; allowed: at most 200 times"),
        (gzip.compress(b"") * 101 + gzip.compress(b"x"), "more than 100 gzips in one"),
    ],
    ids=["nested", "zip", "cut", "checksum", "tail", "empty", "bomb", "many"],
)
def test_what_is_refused(data, sentence):
    with pytest.raises(Refused, match=sentence):
        read_recording("day.csv.gz", data)


def test_the_cap_on_bytes_holds_for_what_is_unpacked():
    noise = zlib.compress(bytes(range(256)) * 40)
    packed = gzip.compress(b"time,power_w\n" + noise * 100)
    with pytest.raises(Refused, match=r"found more than 0\.00\d+ MiB unpacked; allowed: at most"):
        read_recording("day.csv.gz", packed, limits=Limits(max_bytes=len(packed) + 10))

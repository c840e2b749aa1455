"""Readers under random input (seeded): a recording or a refusal with its reasons, never an accident or half of one."""

import json
import subprocess
import sys

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from analysis.core.types import Session
from analysis.readers.bundle import core_session
from analysis.readers.document import normalised, parse_document
from analysis.readers.faults import Refused
from analysis.readers.recording import read_recording
from tests.analysis.readers.bundles import csv_bytes, document, files

SEEDED = settings(max_examples=150, deadline=None, derandomize=True)
CELLS = st.sampled_from(
    [
        "",
        "1",
        "1.5",
        "1,5",
        "-3",
        "1e3",
        "1e999",
        "nan",
        "inf",
        "abc",
        '"',
        '"1,5"',
        "٣",
        "1_0",
        " 7 ",
        "\x0b",
        "2026-05-09",
    ]
    + ["2026-05-09T08:00:00Z", "2026-05-09T08:00:01Z", "2026-05-09T08:00:02+01:00", "2026-05-09T08:00:03.5", "1e17"]
)
HEADERS = st.sampled_from(["time", "power_w", "Speed (km/h)", "lap", "yaw_deg", "other", "", "time", "latitude_deg"])


def checked(data):
    """Read, and hold what every recording promises; None where it was refused."""
    try:
        recording = read_recording("run.csv", data)
    except Refused as refusal:
        if not refusal.faults or any(not (fault.file and fault.key and fault.allowed) for fault in refusal.faults):
            raise AssertionError(f"a refusal without its reasons: {refusal}") from refusal
        return None
    assert recording.time_s.size > 0
    assert (np.diff(recording.time_s) > 0).all()
    for values in recording.columns.values():
        assert values.shape == recording.time_s.shape
        assert not np.isinf(values).any()
    return recording


@SEEDED
@given(st.lists(HEADERS, min_size=1, max_size=4), st.lists(st.lists(CELLS, min_size=1, max_size=5), max_size=6), CELLS)
@example(["time", "power_w"], [["2026-05-09T08:00:00Z", "1"], ["2026-05-09T08:00:01Z", "2"]], "")
def test_random_tables(header, rows, tail):
    for delimiter in ",;\t|":
        text = "\n".join(delimiter.join(row) for row in [header, *rows]) + tail
        checked(text.encode())


@SEEDED
@given(st.binary(max_size=200))
def test_random_bytes(data):
    checked(data)
    checked(b"time,power_w\n0,1\n" + data)


@SEEDED
@given(st.data())
def test_a_sound_file_with_a_few_bytes_changed(data):
    text = bytearray(csv_bytes(8))
    for _ in range(data.draw(st.integers(1, 4))):
        text[data.draw(st.integers(0, len(text) - 1))] = data.draw(st.integers(0, 255))
    checked(bytes(text))


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.just("A"),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)
KEYS = st.sampled_from(sorted(document()) + ["repeatability", "smallest_difference_m2", "unknown"])


@SEEDED
@given(st.dictionaries(KEYS, JSON, max_size=3))
def test_a_document_with_anything_in_it(changes):
    data = json.dumps({**document(), **changes}).encode()
    try:
        parsed = parse_document("session.json", data)
    except Refused as refusal:
        refused = refusal
    else:
        refused = None
        assert normalised(normalised(parsed)) == normalised(parsed)
        recordings = {name: read_recording(name, content) for name, content in files().items()}
        assert isinstance(core_session(parsed, recordings), Session)
    assert refused is None or refused.faults


def test_a_table_of_a_million_samples_within_time_and_memory():
    """10^6 rows: read in a child whose memory is capped as the worker's is (1.5 GiB of addresses)."""
    program = (
        "import resource, time\n"
        "resource.setrlimit(resource.RLIMIT_AS, (3 << 29, 3 << 29))\n"
        "from analysis.readers.recording import read_recording\n"
        "rows = ''.join(f'{at},{200 + at % 50},{10 + at % 7 / 10},12.5\\n' for at in range(1_000_000))\n"
        "data = ('time,power_w,speed_mps,airspeed_mps\\n' + rows).encode()\n"
        "del rows\n"
        "began = time.process_time()\n"
        "recording = read_recording('long.csv', data)\n"
        "assert recording.time_s.size == 1_000_000 and recording.columns['power_w'][-1] == 249\n"
        "print(time.process_time() - began)\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert float(done.stdout) < 20

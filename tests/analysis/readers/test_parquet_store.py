"""Recordings in Parquet: everything comes back, gaps too, and the same recording gives the same bytes."""

import io
import json
from datetime import UTC, datetime

import numpy as np
import pyarrow.parquet as pq
import pytest

from analysis.core.types import Warning
from analysis.readers.faults import Refused
from analysis.readers.parquet import recording_from_parquet, recording_to_parquet
from analysis.readers.recording import Event, Lap, Recording


@pytest.fixture
def recording():
    return Recording(
        format="fit",
        start=datetime(2026, 5, 9, 8, 0, 0, 250_000, tzinfo=UTC),
        time_s=np.array([0.0, 1.0, 2.5]),
        columns={"power_w": np.array([250.0, np.nan, 0.1]), "lap": np.array([1.0, 1.0, 2.0])},
        device={"file": [{"serial_number": 4711}], "name": "Zähler 測定"},
        laps=(Lap(1, 0.0, 2.0), Lap(2, 2.0, float("inf"))),
        events=(Event(0.0, "timer", "start"),),
        extra={"developer0.power": np.array([1.0, 2.0, 3.0])},
        extra_units={"developer0.power": "watts"},
        notes=(Warning("gaps", "caution", "session", "what", "do"),),
    )


def test_everything_comes_back(recording):
    back = recording_from_parquet(recording_to_parquet(recording))
    for name in ("format", "start", "device", "laps", "events", "extra_units", "notes", "units"):
        assert getattr(back, name) == getattr(recording, name), name
    np.testing.assert_array_equal(back.time_s, recording.time_s)
    np.testing.assert_array_equal(back.columns["power_w"], recording.columns["power_w"])
    np.testing.assert_array_equal(back.extra["developer0.power"], recording.extra["developer0.power"])
    assert list(back.columns) == ["power_w", "lap"]


def test_the_same_from_a_file_on_disk(recording, tmp_path):
    (tmp_path / "channels.parquet").write_bytes(recording_to_parquet(recording))
    assert recording_from_parquet(tmp_path / "channels.parquet").start == recording.start


def test_the_same_recording_gives_the_same_bytes_also_after_a_round_trip(recording):
    stored = recording_to_parquet(recording)
    assert recording_to_parquet(recording) == stored
    assert recording_to_parquet(recording_from_parquet(stored)) == stored


def test_units_and_the_rule_for_gaps_travel_with_the_file(recording):
    schema = pq.read_schema(io.BytesIO(recording_to_parquet(recording)))
    assert schema.field("power_w").metadata[b"unit"] == b"W"
    assert "NaN is a gap" in json.loads(schema.metadata[b"recording"])["nan"]


def test_columns_are_split_by_byte_and_packed(recording):
    column = pq.read_metadata(io.BytesIO(recording_to_parquet(recording))).row_group(0).column(1)
    assert "BYTE_STREAM_SPLIT" in column.encodings
    assert (column.compression, column.has_dictionary_page) == ("ZSTD", False)


@pytest.mark.parametrize("data", [b"", b"PAR1", b"time,power_w\n"])
def test_another_file_is_refused(data):
    with pytest.raises(Refused, match="no stored recording"):
        recording_from_parquet(data)

"""One recording: read once, its channels kept; a refusal stands in its row and the bytes stay."""

import pytest

from analysis.jobs.reading import read_recording, recording_of
from analysis.readers.faults import Refused
from studio.records.models import RecordingState
from studio.records.services.recordings import recording_store
from studio.records.store import file_path
from tests.factories import FieldSessionFactory


@pytest.fixture
def store(studio, fitter_bo):
    def make(data, filename="run-01.csv"):
        session = FieldSessionFactory(studio=studio)
        return recording_store(session=session, filename=filename, chunks=[data], by=fitter_bo)

    return make


def test_a_recording_is_read_and_its_parquet_says_the_same(store, small_day, claim):
    recording = store(small_day[1]["run-01.csv"])
    unread = recording_of(recording)
    assert read_recording(claim("read_recording", recording=str(recording.pk))) == {"recording": str(recording.pk)}
    recording.refresh_from_db()
    assert recording.state == RecordingState.READ
    assert recording.samples == len(unread.time_s)
    assert recording_of(recording).columns["power_w"].tolist() == unread.columns["power_w"].tolist()


def test_reading_twice_changes_nothing(store, small_day, claim):
    recording = store(small_day[1]["run-01.csv"])
    for _ in range(2):
        read_recording(claim("read_recording", recording=str(recording.pk)))
    version = recording.version
    recording.refresh_from_db()
    assert recording.version == version + 1


def test_a_refusal_stands_in_the_row_and_the_bytes_stay(store, studio, claim):
    recording = store(b"%PDF-1.7 no recording")
    with pytest.raises(Refused, match="a PDF"):
        read_recording(claim("read_recording", recording=str(recording.pk)))
    recording.refresh_from_db()
    assert recording.state == RecordingState.REFUSED
    assert recording.problem["errors"][0]["file"] == "run-01.csv"
    assert file_path(studio_id=studio.pk, sha256=recording.sha256).exists()

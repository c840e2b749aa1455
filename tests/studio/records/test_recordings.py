"""Uploads: on the disk first, unchanged, named once, and what was read from them."""

import errno
import time
from datetime import timedelta

import numpy as np
import pytest
from django.db import connection

from analysis.core.types import Warning
from analysis.readers.samples import Lap
from analysis.readers.samples import Recording as Reading
from studio.records.errors import Conflict, TooLarge, Unusable
from studio.records.models import Recording, RecordingState
from studio.records.selectors.bundles import session_files
from studio.records.services.recordings import (
    recording_delete,
    recording_read,
    recording_refuse,
    recording_store,
    recordings_store,
)
from studio.records.store import file_path
from tests.factories import NOON, FieldSessionFactory, RunFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def session():
    return FieldSessionFactory()


def stored(session, name="run-01.csv", content=(b"time,power_w\n", b"0,200\n")):
    return recording_store(session=session, filename=name, chunks=content, by=None)


def reading(**more):
    facts = {
        "format": "fit",
        "start": NOON,
        "time_s": np.array([0.0, 1.0, 90.0]),
        "columns": {"power_w": np.zeros(3)},
        "device": {"serial": "7"},
        "laps": (Lap(1, 0.0, 50.0), Lap(2, 50.0, 91.0)),
        "notes": (Warning("zone_assumed", "note", "session", "No zone.", "Check it."),),
    }
    return Reading(**(facts | more))


def test_bytes_are_kept_as_they_came(session):
    recording = stored(session)
    assert session_files(session)["run-01.csv"].read_bytes() == b"time,power_w\n0,200\n"
    assert (recording.size_bytes, recording.state) == (19, RecordingState.STORED)


def test_the_same_upload_again_is_the_same_recording(session):
    assert stored(session) == stored(session)


def test_other_bytes_under_the_same_name_are_refused(session):
    stored(session)
    with pytest.raises(Conflict, match="A file name is used once in a session"):
        stored(session, content=[b"other"])


def test_too_many_bytes_are_refused(session, settings):
    settings.UPLOAD_MAX_BYTES = 2**20
    with pytest.raises(TooLarge, match="at most 1 MiB a recording"):
        stored(session, content=[b"x" * 2**20, b"x"])
    assert not Recording.objects.exists()


def test_no_bytes_are_refused(session):
    with pytest.raises(Unusable, match="The recording is empty"):
        stored(session, content=[])


@pytest.mark.parametrize("name", ["../run.csv", "/etc/run.csv", "a\\b.csv", "", "c:run.csv", "a\0.csv"])
def test_names_that_leave_their_folder_are_refused(session, name):
    with pytest.raises(Unusable, match="name cannot be kept"):
        stored(session, name=name)


@pytest.mark.parametrize("name", ["сессия 1.csv", "走行.fit", "جلسة.csv"])
def test_names_in_every_script_are_kept(session, name):
    assert stored(session, name=name).filename == name


@pytest.mark.django_db(transaction=True)
def test_bytes_are_on_the_disk_before_the_row_commits(session, monkeypatch):
    steps, commit = [], connection._commit
    monkeypatch.setattr("studio.records.store.os.fsync", lambda handle: (time.sleep(0.05), steps.append("fsync")))
    monkeypatch.setattr("studio.records.store._known", set())  # the folders are new to this process
    monkeypatch.setattr(connection, "_commit", lambda: (steps.append("commit"), commit()))
    stored(session)
    assert steps == ["fsync"] * 5 + ["commit"]


@pytest.mark.django_db(transaction=True)
def test_bytes_that_do_not_reach_the_disk_leave_no_row(session, monkeypatch):
    def full(handle):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("studio.records.store.os.fsync", full)
    with pytest.raises(OSError, match="No space left"):
        stored(session)
    assert not Recording.objects.exists()


@pytest.mark.parametrize(
    "files",
    [
        [("one.csv", [b"fine"]), ("two.csv", [])],
        [("one.csv", [b"fine"]), ("../two.csv", [b"fine, too"])],
        [("one.csv", [b"fine"]), ("one.csv", [b"other bytes"])],
        [("new.csv", [b"fine"]), ("run-01.csv", [b"other bytes"])],
    ],
    ids=["empty", "name", "twice", "there"],
)
def test_nothing_is_left_of_files_that_were_refused_together(session, settings, files):
    stored(session)
    folder = settings.FILES_FOLDER / str(session.studio_id)  # other workers' tests fill their own beside it
    before = sorted(folder.rglob("*"))
    with pytest.raises((Conflict, Unusable), match="once in a session|is empty|cannot be kept"):
        recordings_store(session=session, files=files, by=None)
    assert sorted(folder.rglob("*")) == before


def test_the_same_file_twice_in_one_upload_is_one_recording(session):
    rows = recordings_store(session=session, files=[("a.csv", [b"1"]), ("a.csv", [b"1"])], by=None)
    assert rows[0] == rows[1]


def test_what_was_read_is_entered(session):
    recording = recording_read(recording=stored(session), reading=reading(), channels_sha256="c" * 64)
    recording.refresh_from_db()
    assert (recording.state, recording.channels, recording.laps, recording.samples) == ("read", ["power_w"], 2, 3)
    assert (recording.started_at, recording.ended_at) == (NOON, NOON + timedelta(seconds=90))
    assert recording.findings[0]["code"] == "zone_assumed"
    assert (recording.channels_sha256, recording.version) == ("c" * 64, 2)


def test_recording_without_a_clock_has_no_times(session):
    recording = recording_read(recording=stored(session), reading=reading(start=None, laps=()), channels_sha256="")
    assert (recording.started_at, recording.ended_at, recording.laps) == (None, None, None)


def test_refused_recording_keeps_its_bytes_and_the_reason(session):
    recording = recording_refuse(recording=stored(session), problem={"detail": "binary in a CSV"})
    recording.refresh_from_db()
    assert (recording.state, recording.problem) == ("refused", {"detail": "binary in a CSV"})
    assert file_path(studio_id=session.studio_id, sha256=recording.sha256).exists()


def test_recording_of_a_run_is_not_deleted():
    run = RunFactory()
    with pytest.raises(Conflict, match="in use by runs"):
        recording_delete(record=run.recording, by=None, version=1)


def test_deleting_a_recording_leaves_its_bytes(session):
    recording = stored(session)
    recording_delete(record=recording, by=None, version=1)
    assert file_path(studio_id=session.studio_id, sha256=recording.sha256).exists()


def test_bytes_of_a_row_that_failed_do_no_harm(session, monkeypatch):
    with monkeypatch.context() as patch:
        patch.setattr("studio.records.services.recordings.note_event", lambda **_: 1 / 0)
        with pytest.raises(ZeroDivisionError, match="division"):
            stored(session)
    assert not Recording.objects.exists()
    assert stored(session).pk is not None

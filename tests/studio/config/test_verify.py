"""`manage.py verify`: quiet about a whole studio, one line for each thing that is not."""

import io
from datetime import timedelta

import pytest
from django.core.management import call_command
from django.db import connection
from django.utils import timezone

from analysis.results.models import JobState
from studio.records.models import EventDetail, Recording
from studio.records.services.events import note_event
from studio.records.store import TORN, file_path, keep_file
from tests.factories import JobFactory, RecordingFactory, ReportFactory, UserFactory

pytestmark = pytest.mark.django_db
NOW = timezone.now()


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    settings.FILES_FOLDER = tmp_path / "files"


@pytest.fixture
def told():
    """What the command prints and how it ends: (lines, exit code)."""

    def run():
        out = io.StringIO()
        try:
            call_command("verify", stdout=out)
        except SystemExit as end:
            return out.getvalue().splitlines(), end.code
        return out.getvalue().splitlines(), 0

    return run


@pytest.fixture
def recording(studio, owner_ada):
    note_event(studio=studio, by=owner_ada, verb="made", record=studio, detail={"name": "Leeward"})
    kept = keep_file(studio_id=studio.pk, chunks=[b"time,power_w\n0,200\n"])
    return RecordingFactory(session__rider__studio=studio, sha256=kept.sha256, size_bytes=kept.size_bytes)


def file_of(recording):
    return file_path(studio_id=recording.studio_id, sha256=recording.sha256)


def test_a_whole_studio_is_said_to_be_whole(told, recording):
    assert told() == (["Everything is as it was kept."], 0)


def test_changed_bytes_are_found_and_named(told, recording):
    file_of(recording).write_bytes(b"time,power_w\n0,201\n")
    (line,), code = told()
    assert (code, line.startswith(f"Recording {recording.pk}: "), "other bytes" in line) == (1, True, True)


def test_a_missing_file_is_found_and_named(told, recording):
    file_of(recording).unlink()
    (line,), code = told()
    assert (code, f"Recording {recording.pk}" in line, "is missing" in line) == (1, True, True)


def test_missing_channels_and_bundles_are_found(told, recording):
    Recording.objects.update(channels_sha256="a" * 64)
    job = JobFactory(studio=recording.studio, kind="import_bundle", payload={"sha256": "b" * 64})
    lines, _ = told()
    assert [line.split(":")[0] for line in lines] == [
        f"Bundle of job {job.pk}",
        f"Channels of recording {recording.pk}",
    ]


def test_files_that_no_record_names_are_found(told, recording):
    orphan = keep_file(studio_id=recording.studio_id, chunks=[b"nobody's"])
    torn = file_of(recording).parent.parent / f"{TORN}x"
    torn.write_bytes(b"half")
    lines, code = told()
    assert code == 1
    assert any(orphan.sha256 in line and "named by no record" in line for line in lines)
    assert any(torn.name in line and "half written" in line for line in lines)
    assert len(lines) == 2


def test_what_a_job_at_work_has_just_written_is_no_finding(told, recording):
    keep_file(studio_id=recording.studio_id, chunks=[b"not named yet"])
    JobFactory(studio=recording.studio, requested_by=None, state=JobState.RUNNING, lease_until=NOW + timedelta(hours=1))
    assert told()[1] == 0


def test_changed_words_in_the_trail_are_found(told, recording):
    EventDetail.objects.update(text={"name": "Windward"})
    assert told() == (["Trail of Leeward Studio: The words of event 1 were changed."], 1)


def test_emptied_words_are_no_finding(told, recording):
    EventDetail.objects.update(salt="", text={}, address="")
    assert told()[1] == 0


JOBS = {
    "no worker holds it": {"state": JobState.RUNNING, "lease_until": NOW - timedelta(hours=1)},
    "it left no result": {"state": JobState.DONE, "ended_at": NOW},
    "it ended at no time": {"state": JobState.FAILED},
    "it has ended already": {"state": JobState.QUEUED, "ended_at": NOW},
    "that it made is not there": {
        "state": JobState.DONE,
        "ended_at": NOW,
        "result": {"session": "01a2120a-61e4-7433-8086-216256e0697e"},
    },
}


@pytest.mark.parametrize("words", JOBS)
def test_a_job_that_cannot_be_is_found_and_named(told, recording, words):
    job = JobFactory(studio=recording.studio, requested_by=None, **JOBS[words])
    (line,), code = told()
    assert (code, line.startswith(f"Job {job.pk}"), words in line) == (1, True, True)


def test_a_job_at_work_is_no_finding(told, recording):
    JobFactory(studio=recording.studio, requested_by=None, state=JobState.RUNNING, lease_until=NOW + timedelta(hours=1))
    JobFactory(studio=recording.studio, requested_by=None)
    assert told()[1] == 0


def test_a_report_with_other_bytes_is_found(told, recording):
    report = ReportFactory(analysis__session=recording.session, issued_by=None, pdf=b"%PDF", pdf_sha256="0" * 64)
    (line,), _ = told()
    assert str(report.pk) in line


def test_an_account_of_no_studio_and_a_studio_of_no_owner_are_found(told, recording, owner_ada):
    stray = UserFactory()
    type(owner_ada).objects.filter(pk=owner_ada.pk).update(is_active=False)
    lines, _ = told()
    assert [line.split(":")[0] for line in lines] == ["Studio Leeward Studio", f"Account {stray.pk}"]


def test_a_row_that_names_a_missing_row_is_found_on_sqlite(told, recording):
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL refuses such a row itself")
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA defer_foreign_keys=ON")
        cursor.execute("UPDATE records_rider SET user_id = %s", ["f" * 32])
        lines, code = told()
        cursor.execute("UPDATE records_rider SET user_id = NULL")
    assert (code, len(lines), "records_rider" in lines[0]) == (1, 1, True)

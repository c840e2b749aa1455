"""The runner: which end a handler's word gives to its job."""

import errno
import threading

import pytest
from celery.exceptions import SoftTimeLimitExceeded
from django.db import OperationalError

from analysis.core.types import SessionRefused
from analysis.jobs import runner
from analysis.readers.faults import Fault, Refused
from analysis.results.models import Job, JobState
from analysis.results.services.attempts import Superseded
from analysis.results.services.jobs import requeue_jobs_of
from studio.records.errors import Conflict
from tests.factories import JobFactory


@pytest.fixture
def job(studio):
    return JobFactory(studio=studio, kind="analyse_session")


@pytest.fixture
def ends(job, monkeypatch):
    """Run the job with a handler and give its row."""

    def run(handler):
        monkeypatch.setattr(runner, "handler_of", lambda kind: handler)
        assert runner.run_next(worker="one")
        job.refresh_from_db()
        return job

    return run


def raises(error):
    def handler(attempt):
        raise error

    return handler


def test_what_the_handler_returns_is_the_result(ends):
    job = ends(lambda attempt: {"analysis": "a"})
    assert (job.state, job.result) == (JobState.DONE, {"analysis": "a"})


def test_a_handler_may_end_the_job_itself_with_its_rows(ends):
    def handler(attempt):
        with attempt.atomic():
            attempt.done({"report": "inside"})
        return {"report": "inside"}

    assert ends(handler).result == {"report": "inside"}


@pytest.mark.parametrize(
    ("error", "detail", "kind"),
    [
        (Refused([Fault("session.json", "runs", "none", "one run")]), "session.json, runs: found none", "unusable"),
        (Conflict("The rider has another height."), "The rider has another height.", "conflict"),
        (SessionRefused("No run has power."), "No run has power.", "unusable"),
    ],
)
def test_a_refusal_of_the_data_ends_the_job_with_its_problem(ends, error, detail, kind):
    job = ends(raises(error))
    assert job.state == JobState.REFUSED
    assert job.problem["detail"].startswith(detail)
    assert job.problem["type"].endswith(f"/{kind}/")


def test_what_the_estimator_refuses_names_the_part_at_fault(ends):
    error = SessionRefused("No run has power.", given="no run with power_w", allowed="at least one")
    (told,) = ends(raises(error)).problem["errors"]
    assert (told["file"], told["key"], told["given"]) == ("session.json", "runs", "no run with power_w")


@pytest.mark.parametrize(
    ("error", "message"),
    [
        (ZeroDivisionError("secret detail"), runner.FAULT),
        (SoftTimeLimitExceeded(), "The job took longer than 600 s"),
        (MemoryError(), "The job needed more than 1536 MiB"),
    ],
)
def test_a_fault_of_ours_tells_users_little_and_the_owner_all(ends, error, message):
    job = ends(raises(error))
    assert job.state == JobState.FAILED
    assert job.message.startswith(message)
    assert type(error).__name__ in job.traceback
    assert "secret" not in job.message


def test_a_database_that_goes_away_gives_the_job_back(ends):
    job = ends(raises(OperationalError("database is locked")))
    assert (job.state, job.attempts) == (JobState.QUEUED, 1)


def test_a_slow_twin_ends_nothing(ends):
    def handler(attempt):
        requeue_jobs_of(worker="one")
        return {"analysis": "late"}

    job = ends(handler)
    assert (job.state, job.result) == (JobState.QUEUED, None)


def test_without_work_nothing_is_run(db):
    assert not runner.run_next(worker="one")


@pytest.mark.parametrize("kind", ["import_bundle", "read_recording", "analyse_session", "issue_report", "demo_session"])
def test_every_kind_of_job_has_its_handler(kind):
    assert callable(runner.handler_of(kind))


class Patient:
    """An attempt that only counts renewals; the third is refused."""

    def __init__(self):
        self.job = Job()
        self.renewals = 0
        self.taken_over = threading.Event()

    def renew(self):
        self.renewals += 1
        if self.renewals == 3:
            self.taken_over.set()
            raise Superseded("taken over")


def test_the_lease_is_kept_while_the_handler_computes_and_dropped_when_taken_over(settings):
    settings.JOB_LEASE_S = 0.02
    attempt = Patient()
    with runner.lease_kept(attempt):
        assert attempt.taken_over.wait(10)
    assert attempt.renewals == 3


@pytest.mark.parametrize("reason", [errno.ENOSPC, errno.EDQUOT])
def test_a_job_that_met_a_full_disk_waits_and_says_why(ends, reason):
    """POSIX.1, errno.h: no space left on the device, and quota exceeded."""
    job = ends(raises(OSError(reason, "no room")))
    assert (job.state, job.message) == (JobState.QUEUED, runner.DISK_FULL)


def test_another_fault_of_the_disk_ends_the_job(ends):
    assert ends(raises(OSError(errno.EIO, "broken"))).state == JobState.FAILED


def test_no_job_is_started_where_there_is_no_room_and_none_loses_an_attempt(job, monkeypatch):
    monkeypatch.setattr(runner, "has_room", lambda: False)
    assert not runner.run_next(worker="one")
    job.refresh_from_db()
    assert (job.state, job.attempts) == (JobState.QUEUED, 0)

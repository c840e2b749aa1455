"""The Job row is the truth: claims, fences, leases, and what is taken back."""

import threading
from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from analysis.results.models import BACKGROUND_PRIORITY, Job, JobState
from analysis.results.services.attempts import Superseded
from analysis.results.services.jobs import TRYING_AGAIN, claim_next, give_back, job_create, requeue_jobs_of, sweep
from tests.factories import JobFactory, StudioFactory

LONG_AGO = timedelta(minutes=5)


@pytest.fixture
def job(studio):
    return JobFactory(studio=studio)


@pytest.fixture
def attempt(job):
    return claim_next(worker="one")


def lose_lease(job):
    Job.objects.filter(pk=job.pk).update(lease_until=timezone.now() - LONG_AGO)


def test_an_asked_job_waits_with_its_payload(studio, fitter_bo):
    job = job_create(kind="analyse_session", studio=studio, by=fitter_bo, payload={"session": "x"})
    assert (job.state, job.attempts, job.payload) == (JobState.QUEUED, 0, {"session": "x"})


def test_a_claim_starts_the_job_with_a_lease_and_a_name(job, attempt):
    job.refresh_from_db()
    assert (job.state, job.attempts, job.worker) == (JobState.RUNNING, 1, "one")
    assert job.lease_until > timezone.now()
    assert job.started_at is not None


def test_a_job_is_claimed_once(attempt):
    assert claim_next(worker="two") is None


def test_a_users_job_goes_ahead_of_the_background(studio):
    JobFactory(studio=studio, priority=BACKGROUND_PRIORITY)
    asked_later = JobFactory(studio=studio)
    assert claim_next(worker="one").job == asked_later


def test_of_equal_jobs_the_older_goes_first(studio):
    first, second = JobFactory(studio=studio), JobFactory(studio=studio)
    assert [claim_next(worker="one").job, claim_next(worker="one").job] == [first, second]


def test_one_background_job_runs_at_a_time_and_a_users_job_beside_it(studio):
    JobFactory.create_batch(2, studio=studio, priority=BACKGROUND_PRIORITY)
    claim_next(worker="one")
    assert claim_next(worker="two") is None
    mine = JobFactory(studio=studio)
    assert claim_next(worker="two").job == mine


def test_the_database_itself_holds_the_background_to_one(studio):
    end = timezone.now()
    running = {"studio": studio, "priority": BACKGROUND_PRIORITY, "state": JobState.RUNNING, "lease_until": end}
    JobFactory(**running)
    with pytest.raises(IntegrityError, match=r"(?i)unique"), transaction.atomic():
        JobFactory(**running)


def test_progress_is_told_and_renews_the_lease(job, attempt):
    Job.objects.filter(pk=job.pk).update(lease_until=timezone.now())
    attempt.progress(0.4, "reading")
    job.refresh_from_db()
    assert (job.progress, job.message) == (0.4, "reading")
    assert job.lease_until > timezone.now() + timedelta(seconds=13)


def test_done_keeps_the_result(job, attempt):
    attempt.done({"analysis": "a"})
    job.refresh_from_db()
    assert (job.state, job.result, job.progress, job.lease_until) == (JobState.DONE, {"analysis": "a"}, 1.0, None)
    assert job.ended_at is not None


def test_a_refusal_keeps_the_reason(job, attempt):
    attempt.refused({"title": "Well formed, and cannot be used", "detail": "no runs"})
    job.refresh_from_db()
    assert (job.state, job.problem["detail"]) == (JobState.REFUSED, "no runs")


def test_a_failure_keeps_the_traceback_apart_from_the_message(job, attempt):
    attempt.failed("A fault of the studio.", "Traceback: secret path")
    job.refresh_from_db()
    assert (job.state, job.message, job.traceback) == (
        JobState.FAILED,
        "A fault of the studio.",
        "Traceback: secret path",
    )


def test_a_lost_lease_puts_the_job_back(job, attempt):
    lose_lease(job)
    sweep()
    job.refresh_from_db()
    assert (job.state, job.message, job.progress) == (JobState.QUEUED, TRYING_AGAIN, 0.0)


def test_a_live_lease_stays(job, attempt):
    sweep()
    job.refresh_from_db()
    assert job.state == JobState.RUNNING


def test_a_job_that_loses_every_worker_fails_in_the_end(job, settings):
    for _ in range(settings.JOB_MAX_ATTEMPTS):
        claim_next(worker="one")
        lose_lease(job)
        sweep()
    job.refresh_from_db()
    assert job.state == JobState.FAILED
    assert f"started {settings.JOB_MAX_ATTEMPTS} times" in job.message


STALE_WRITES = {
    "progress": lambda attempt: attempt.progress(0.9, "late"),
    "renew": lambda attempt: attempt.renew(),
    "done": lambda attempt: attempt.done({"analysis": "late"}),
    "refused": lambda attempt: attempt.refused({"title": "late"}),
    "failed": lambda attempt: attempt.failed("late", "late"),
    "atomic": lambda attempt: attempt.atomic().__enter__(),
}


@pytest.mark.parametrize("write", STALE_WRITES.values(), ids=STALE_WRITES.keys())
@pytest.mark.parametrize("since", ["queued again", "running again", "done by another"])
def test_a_stale_attempt_writes_nothing(job, attempt, write, since):
    requeue_jobs_of(worker="one")
    if since != "queued again":
        twin = claim_next(worker="two")
        if since == "done by another":
            twin.done({"analysis": "right"})
    before = Job.objects.filter(pk=job.pk).values().get()
    with pytest.raises(Superseded, match="attempt 1 .* taken over"):
        write(attempt)
    assert Job.objects.filter(pk=job.pk).values().get() == before


def test_what_a_fenced_block_wrote_goes_with_it(studio, attempt):
    def write_and_crash():
        with attempt.atomic():
            JobFactory(studio=studio, kind="written inside")
            attempt.done({})
            raise RuntimeError("power cut")

    with pytest.raises(RuntimeError, match="power cut"):
        write_and_crash()
    assert not Job.objects.filter(kind="written inside").exists()
    assert Job.objects.get(pk=attempt.job.pk).state == JobState.RUNNING


def test_a_dead_workers_jobs_come_back_and_no_others(studio):
    JobFactory.create_batch(2, studio=studio)
    lost, kept = claim_next(worker="dead").job, claim_next(worker="alive").job
    assert requeue_jobs_of(worker="dead") == 1
    states = {job.pk: job.state for job in Job.objects.all()}
    assert states == {lost.pk: JobState.QUEUED, kept.pk: JobState.RUNNING}


def test_an_attempt_can_be_given_back(job, attempt):
    give_back(attempt=attempt)
    job.refresh_from_db()
    assert job.state == JobState.QUEUED


def test_the_sweep_counts_what_no_message_will_wake(studio):
    JobFactory(studio=studio)
    assert sweep() == 0
    Job.objects.update(created_at=timezone.now() - LONG_AGO)
    assert sweep() == 1


def test_the_sweep_does_not_wake_for_the_background_while_one_runs(studio):
    JobFactory.create_batch(3, studio=studio, priority=BACKGROUND_PRIORITY, created_at=timezone.now() - LONG_AGO)
    claim_next(worker="one")
    assert sweep() == 0


@pytest.mark.server
@pytest.mark.django_db(transaction=True)
def test_many_workers_share_the_jobs_without_taking_one_twice():
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL (DATABASE_URL): the test's SQLite lies in memory and takes one writer")
    studio = StudioFactory()
    asked = {job.pk for job in JobFactory.create_batch(12, studio=studio)}
    JobFactory.create_batch(4, studio=studio, priority=BACKGROUND_PRIORITY)
    claimed, together = [], threading.Barrier(6)

    def work():
        together.wait(timeout=10)
        try:
            while attempt := claim_next(worker="one"):
                claimed.append(attempt.job)
        finally:
            connection.close()

    workers = [threading.Thread(target=work) for _ in range(6)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert sorted(job.pk for job in claimed if job.priority != BACKGROUND_PRIORITY) == sorted(asked)
    assert sum(job.priority == BACKGROUND_PRIORITY for job in claimed) == 1

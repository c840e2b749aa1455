"""Asking: the row first, the wake-up only when the row can be seen; a wake-up that fails costs nothing."""

from datetime import timedelta

import pytest
from django.db import transaction
from django.utils import timezone
from kombu.exceptions import OperationalError

from analysis.jobs import tasks
from analysis.jobs.enqueue import enqueue
from analysis.results.models import Job, JobState
from tests.factories import JobFactory


@pytest.fixture
def wakes(monkeypatch):
    """Messages that would have been sent."""
    sent = []
    monkeypatch.setattr(tasks.work, "apply_async", lambda **options: sent.append(options))
    yield sent
    tasks._messenger.submit(bool).result()  # nothing of this test is sent after it


def ask(studio):
    return enqueue(kind="analyse_session", studio=studio, by=None, payload={"session": "s"})


def test_the_wake_up_waits_for_the_commit(studio, wakes, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        job = ask(studio)
        assert not wakes
    assert tasks._messenger.submit(len, wakes).result() == 1  # after the wake-up, which is sent beside
    assert job.state == JobState.QUEUED


def test_a_rolled_back_job_wakes_nobody(studio, wakes, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True), transaction.atomic():
        ask(studio)
        transaction.set_rollback(True)
    assert tasks._messenger.submit(len, wakes).result() == 0
    assert not Job.objects.exists()


def test_a_queue_that_is_away_does_not_fail_the_request(studio, monkeypatch, caplog):
    def refuse(**options):
        raise OperationalError("no broker")

    monkeypatch.setattr(tasks.work, "apply_async", refuse)
    tasks.wake()
    assert "no worker could be woken" in caplog.text


def test_after_a_job_the_next_is_woken_and_after_the_last_nobody(studio, wakes, monkeypatch):
    monkeypatch.setattr(tasks, "run_next", lambda worker: True)
    tasks.work()
    monkeypatch.setattr(tasks, "run_next", lambda worker: False)
    tasks.work()
    assert len(wakes) == 1


def test_the_sweep_wakes_for_what_waits_but_sends_no_flood(studio, wakes):
    JobFactory.create_batch(9, studio=studio, created_at=timezone.now() - timedelta(minutes=1))
    tasks.look_after_jobs()
    assert len(wakes) == tasks.MOST_WAKES

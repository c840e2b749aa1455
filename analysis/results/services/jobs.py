"""The job queue in the database: create, claim, take back. What a running attempt writes is in `attempts.py`."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone

from analysis.results.models import BACKGROUND_PRIORITY, USER_PRIORITY, Job, JobState
from analysis.results.services.attempts import Attempt, lease_end
from studio.records.models import FieldSession, Studio, User
from studio.records.querysets import RecordQuerySet

TRYING_AGAIN = "The worker went away; another one starts again."
GAVE_UP = "The job was started {attempts} times and its worker went away each time. Try a smaller file; tell the owner."
WAKE_AFTER = timedelta(seconds=2)


def job_create(
    *,
    kind: str,
    studio: Studio,
    by: User | None,
    payload: Mapping[str, Any] | None = None,
    session: FieldSession | None = None,
    priority: int = USER_PRIORITY,
) -> Job:
    """Write down what was asked. Nobody is woken: that is `analysis.jobs.enqueue`'s part."""
    return Job.objects.create(
        kind=kind, studio=studio, requested_by=by, payload=dict(payload or {}), session=session, priority=priority
    )


def claimable() -> RecordQuerySet[Job]:
    """Queued jobs that may start now, the next one first."""
    waiting = Job.objects.filter(state=JobState.QUEUED).order_by("priority", "id")
    if Job.objects.filter(state=JobState.RUNNING, priority=BACKGROUND_PRIORITY).exists():
        waiting = waiting.exclude(priority=BACKGROUND_PRIORITY)
    return waiting


def claim_next(*, worker: str) -> Attempt | None:
    """Take the next job for `worker`, or None when nothing may start."""
    while (job := claimable().first()) is not None:
        if _claimed(job, worker):
            job.refresh_from_db()
            return Attempt(job)
    return None


def _claimed(job: Job, worker: str) -> bool:
    """Whether the job is ours; somebody else may have been quicker, at this job or at the one background job."""
    queued = Job.objects.filter(pk=job.pk, state=JobState.QUEUED)
    try:
        with transaction.atomic():
            moved = queued.update(
                state=JobState.RUNNING,
                attempts=F("attempts") + 1,
                lease_until=lease_end(),
                worker=worker,
                started_at=timezone.now(),
                progress=0.0,
                message="",
            )
    except IntegrityError:
        return False
    return bool(moved)


def requeue_jobs_of(*, worker: str) -> int:
    """Take back what a worker held that is known to be dead; gives how many jobs."""
    return _take_back(Job.objects.filter(state=JobState.RUNNING, worker=worker))


def give_back(*, attempt: Attempt, message: str = TRYING_AGAIN) -> None:
    """Take back the job of an attempt that ended without a fault of the job's own (the database went away)."""
    mine = Job.objects.filter(pk=attempt.job.pk, state=JobState.RUNNING, attempts=attempt.job.attempts)
    _take_back(mine, message)


def sweep() -> int:
    """Take back jobs whose lease is over; gives how many jobs wait that no message will wake any more."""
    _take_back(Job.objects.filter(state=JobState.RUNNING, lease_until__lt=timezone.now()))
    return claimable().filter(created_at__lt=timezone.now() - WAKE_AFTER).count()


def _take_back(lost: RecordQuerySet[Job], message: str = TRYING_AGAIN) -> int:
    """Queue the lost jobs again, or end those that were tried often enough."""
    tried_enough = lost.filter(attempts__gte=settings.JOB_MAX_ATTEMPTS)
    ended = tried_enough.update(
        state=JobState.FAILED,
        ended_at=timezone.now(),
        lease_until=None,
        message=GAVE_UP.format(attempts=settings.JOB_MAX_ATTEMPTS),
    )
    queued = lost.update(state=JobState.QUEUED, lease_until=None, progress=0.0, message=message)
    return ended + queued

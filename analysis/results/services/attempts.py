"""One attempt at a job: what it may write, and only while it is the one that counts.

`attempts` is the fence: when the sweep gives a job to another worker the number moves on, and the slow twin's
next write changes no row and raises Superseded.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.utils import timezone

from analysis.results.models import Job, JobState
from studio.records.services.events import turn

MESSAGE_LENGTH = 300


class Superseded(Exception):
    """Another attempt has taken the job over; this one must stop and has written nothing."""


def lease_end() -> datetime:
    """Until when a worker that says nothing more keeps its job."""
    return timezone.now() + timedelta(seconds=settings.JOB_LEASE_S)


class Attempt:
    """A claimed job in the hands of one worker.

    A handler reads `job`, tells `progress`, and writes what it found inside `atomic()`. Where a second run would not
    find what the first wrote, it calls `done` inside that same block: rows and end of the job are then one fact.
    """

    def __init__(self, job: Job) -> None:
        self.job = job
        self.ended: JobState | None = None

    def _move(self, **changes: object) -> None:
        """Conditional update of the row, the fence of every write."""
        mine = Job.objects.filter(pk=self.job.pk, state=JobState.RUNNING, attempts=self.job.attempts)
        if not mine.update(**changes):
            raise Superseded(f"attempt {self.job.attempts} at job {self.job.pk} was taken over")

    def renew(self) -> None:
        """Keep the job for another lease."""
        self._move(lease_until=lease_end())

    def progress(self, share: float, message: str) -> None:
        """Say how far the job is (0 to 1) and what it does; renews the lease."""
        share = min(max(share, 0.0), 1.0)
        self._move(progress=share, message=message[:MESSAGE_LENGTH], lease_until=lease_end())

    @contextmanager
    def atomic(self) -> Iterator[None]:
        """A transaction that only the attempt that counts can commit.

        The renewal takes the row's lock, so nobody takes the job over before the commit. The studio's turn comes
        first, as before every write that ends with an event (`turn`): no ring of writers who wait for each other.
        """
        with turn(self.job.studio):
            self.renew()
            yield

    def done(self, result: Mapping[str, Any]) -> None:
        """End the job with its result."""
        self._end(JobState.DONE, result=dict(result), progress=1.0, message="")

    def refused(self, problem: Mapping[str, Any]) -> None:
        """End the job because the data said no; the problem says why."""
        self._end(JobState.REFUSED, problem=dict(problem), message=str(problem["title"])[:MESSAGE_LENGTH])

    def failed(self, message: str, traceback: str) -> None:
        """End the job because of a fault of ours: a sentence for everybody, the traceback for the owner."""
        self._end(JobState.FAILED, message=message[:MESSAGE_LENGTH], traceback=traceback)

    def _end(self, state: JobState, **changes: object) -> None:
        self._move(state=state, ended_at=timezone.now(), lease_until=None, **changes)
        self.ended = state

"""What was asked, and how far it is. The row is the truth; the queue only wakes a worker."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.utils import timezone
from uuid6 import uuid7

from studio.records.models import FieldSession, Studio, User
from studio.records.querysets import RecordQuerySet

USER_PRIORITY = 10
BACKGROUND_PRIORITY = 100


class JobState(models.TextChoices):
    QUEUED = "queued", "queued"
    RUNNING = "running", "running"
    DONE = "done", "done"
    REFUSED = "refused", "refused"
    FAILED = "failed", "failed"


class Job(models.Model):
    """One piece of work.

    ::

        queued --claim--> running --finish--> done
          ^                 |  |---refuse---> refused   (the data said no: `problem` says why)
          |                 |  '---fail-----> failed    (a fault of ours: `message` for all, `traceback` kept)
          '--lease over-----'

    Every move is a conditional update on `state` and `attempts`: a stale attempt writes nothing.
    A smaller `priority` goes first; then the older. Of the jobs at BACKGROUND_PRIORITY one runs at a time,
    so that a worker of two children has always one free for a user.
    """

    client_paths: ClassVar[tuple[str, ...]] = ("requested_by",)

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    studio = models.ForeignKey(Studio, on_delete=models.PROTECT, related_name="+")
    requested_by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    session = models.ForeignKey(FieldSession, on_delete=models.SET_NULL, null=True, related_name="+")
    kind = models.CharField(max_length=40)
    payload = models.JSONField(default=dict)
    priority = models.PositiveSmallIntegerField(default=USER_PRIORITY)
    state = models.CharField(max_length=10, choices=JobState, default=JobState.QUEUED)
    attempts = models.PositiveSmallIntegerField(default=0)
    lease_until = models.DateTimeField(null=True)
    worker = models.CharField(max_length=80, blank=True)
    progress = models.FloatField(default=0.0)
    message = models.CharField(max_length=300, blank=True)
    result = models.JSONField(null=True)
    problem = models.JSONField(null=True)
    traceback = models.TextField(blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    started_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)

    objects = RecordQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["state", "priority", "id"], name="job_next")]
        constraints = [
            models.CheckConstraint(condition=models.Q(state__in=JobState.values), name="job_state_known"),
            models.CheckConstraint(
                condition=models.Q(progress__gte=0, progress__lte=1), name="job_progress_is_a_share"
            ),
            models.CheckConstraint(
                condition=~models.Q(state="refused") | models.Q(problem__isnull=False), name="job_refusal_says_why"
            ),
            models.CheckConstraint(
                condition=~models.Q(state="running") | models.Q(lease_until__isnull=False), name="job_running_has_lease"
            ),
            models.UniqueConstraint(
                fields=["priority"],
                condition=models.Q(state="running", priority=BACKGROUND_PRIORITY),
                name="job_one_in_the_background",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.state}"

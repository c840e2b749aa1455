"""Who did what to which record: append-only, each row holds the hash of the one before.

Personal text and the caller's address lie in a side row that erasure can empty; the chain holds only its salted hash.
"""

from __future__ import annotations

from django.db import models
from uuid6 import uuid7

from studio.records.models.studio import Studio
from studio.records.querysets import RecordQuerySet


class Event(models.Model):
    """One act. `number` counts from 1 within the studio; `sha256` covers every other column and `previous_sha256`."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    studio = models.ForeignKey(Studio, on_delete=models.PROTECT, related_name="+")
    number = models.PositiveBigIntegerField()
    at = models.DateTimeField()
    actor_id = models.UUIDField(null=True)
    verb = models.CharField(max_length=40)
    record_kind = models.CharField(max_length=40)
    record_id = models.UUIDField(null=True)
    detail_sha256 = models.CharField(max_length=64, blank=True)
    previous_sha256 = models.CharField(max_length=64, blank=True)
    sha256 = models.CharField(max_length=64)

    objects = RecordQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["studio", "number"],
                name="event_number_once_per_studio",
                violation_error_message="An event's number is used once in a studio.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.verb} {self.record_kind}"


class EventDetail(models.Model):
    """What an event said in words, and from which address; erasure empties it."""

    event = models.OneToOneField(Event, on_delete=models.CASCADE, related_name="detail")
    salt = models.CharField(max_length=32)
    text = models.JSONField(default=dict)
    address = models.CharField(max_length=64, blank=True)

    def __str__(self) -> str:
        return f"detail of {self.event}"

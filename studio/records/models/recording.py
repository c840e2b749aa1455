"""The uploaded bytes, unchanged, and what was read from them."""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from studio.records.models.base import Record


class RecordingState(models.TextChoices):
    STORED = "stored", "stored, not read yet"
    READ = "read", "read"
    REFUSED = "refused", "could not be read"


class Recording(Record):
    """A file of a session. The bytes lie in the file store under their SHA-256 within the studio;
    so do the channels that were read from them (`channels_sha256`, Parquet), by the rules in `mapping`."""

    client_paths: ClassVar[tuple[str, ...]] = ("session__rider__user",)

    session = models.ForeignKey("records.FieldSession", on_delete=models.CASCADE, related_name="recordings")
    filename = models.CharField(max_length=255)
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveBigIntegerField()
    state = models.CharField(max_length=10, choices=RecordingState, default=RecordingState.STORED)
    format = models.CharField(max_length=20, blank=True)
    device = models.JSONField(default=dict, blank=True)
    mapping = models.JSONField(default=dict, blank=True)
    channels = models.JSONField(default=list, blank=True)
    laps = models.PositiveIntegerField(null=True, blank=True)
    samples = models.PositiveBigIntegerField(null=True, blank=True)
    started_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    findings = models.JSONField(default=list, blank=True)
    problem = models.JSONField(null=True, blank=True)
    channels_sha256 = models.CharField(max_length=64, blank=True)

    class Meta(Record.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["session", "filename"],
                name="recording_name_once_per_session",
                violation_error_message="A file name is used once in a session.",
            ),
            models.CheckConstraint(
                condition=models.Q(size_bytes__gt=0),
                name="recording_not_empty",
                violation_error_message="A recording has at least one byte.",
            ),
        ]

    def __str__(self) -> str:
        return self.filename

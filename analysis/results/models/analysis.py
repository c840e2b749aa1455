"""What the engine said of a session. Immutable: a newer analysis names the one it supersedes."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from uuid6 import uuid7

from studio.records.models import FieldSession, Studio
from studio.records.querysets import RecordQuerySet


class Analysis(models.Model):
    """A session result (`session-result/1`) with the fingerprint of what went in.

    The same inputs under the same engine are the same analysis; the database refuses to change one.
    """

    client_paths: ClassVar[tuple[str, ...]] = ("session__rider__user",)

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    studio = models.ForeignKey(Studio, on_delete=models.PROTECT, related_name="+")
    session = models.ForeignKey(FieldSession, on_delete=models.PROTECT, related_name="+")
    number = models.PositiveIntegerField()
    inputs_sha256 = models.CharField(max_length=64)
    engine_version = models.CharField(max_length=40)
    result = models.JSONField()
    supersedes = models.OneToOneField(
        "self", on_delete=models.CASCADE, null=True, blank=True, related_name="superseded_by"
    )
    created_at = models.DateTimeField(auto_now_add=True)

    objects = RecordQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "analyses"
        constraints = [
            models.UniqueConstraint(fields=["session", "number"], name="analysis_number_once_per_session"),
        ]

    def __str__(self) -> str:
        return f"analysis {self.number} of {self.session}"

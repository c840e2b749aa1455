"""Issued reports: frozen facts and the bytes that were handed over. Immutable; a reissue makes a new one."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from uuid6 import uuid7

from analysis.results.models import Analysis
from studio.records.models import Studio, User
from studio.records.querysets import RecordQuerySet


class Report(models.Model):
    """A PDF with the facts that it prints. `number` is the studio's own count and stands on each page."""

    client_paths: ClassVar[tuple[str, ...]] = ("analysis__session__rider__user",)

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    studio = models.ForeignKey(Studio, on_delete=models.PROTECT, related_name="+")
    analysis = models.ForeignKey(Analysis, on_delete=models.PROTECT, related_name="+")
    number = models.PositiveIntegerField()
    wording = models.CharField(max_length=40)
    facts = models.JSONField()
    pdf = models.BinaryField()
    pdf_sha256 = models.CharField(max_length=64)
    issued_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    issued_at = models.DateTimeField()

    objects = RecordQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [models.UniqueConstraint(fields=["studio", "number"], name="report_number_once_per_studio")]

    def __str__(self) -> str:
        return f"report {self.number}"

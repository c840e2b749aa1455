"""What every record has: a public id that orders by time, its studio, a version that counts changes."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from uuid6 import uuid7

from studio.records.models.studio import Studio
from studio.records.querysets import RecordQuerySet


class Record(models.Model):
    """A row that belongs to a studio. `version` counts changes and is the entity tag's second half."""

    client_paths: ClassVar[tuple[str, ...]] = ()
    """Lookups from the row to the account of the client who may see it; empty: no client ever."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    studio = models.ForeignKey(Studio, on_delete=models.PROTECT, related_name="+")
    version = models.PositiveIntegerField(default=1, editable=False)
    created_at = models.DateTimeField(auto_now_add=True)
    updated_at = models.DateTimeField(auto_now=True)

    objects = RecordQuerySet.as_manager()

    class Meta:
        abstract = True
        ordering = ["-id"]

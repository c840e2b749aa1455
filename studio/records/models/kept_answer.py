"""What a request with an Idempotency-Key was answered, so that the same request gets the same answer."""

from __future__ import annotations

from django.db import models
from uuid6 import uuid7

from studio.records.models.user import User


class KeptAnswer(models.Model):
    """One request of a user to an address under a key. `status` is empty while the first one runs.

    The id is the fence: who takes over after a crash makes a new row, and the slow twin finds its own gone.
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    path = models.CharField(max_length=300)
    key = models.CharField(max_length=255)
    request_sha256 = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True)
    headers = models.JSONField(default=dict)
    body = models.TextField(blank=True)
    created_at = models.DateTimeField(db_index=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["user", "path", "key"],
                name="kept_answer_once_per_key",
                violation_error_message="A key has one answer at an address.",
            )
        ]

    def __str__(self) -> str:
        return f"answer {self.status or 'to come'} at {self.path}"

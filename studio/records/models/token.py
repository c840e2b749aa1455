"""Bearer tokens for programs: only their SHA-256 is kept."""

from __future__ import annotations

from django.db import models
from uuid6 import uuid7

from studio.records.models.user import User


class ApiToken(models.Model):
    """`wl_<kind>_` + 30 base-62 characters + a CRC-32; shown once."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="tokens")
    name = models.CharField(max_length=120, blank=True)
    sha256 = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"token of {self.user}"

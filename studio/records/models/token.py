"""Bearer tokens for programs: only their SHA-256 is kept."""

from __future__ import annotations

from django.db import models
from uuid6 import uuid7

from studio.records.models.user import User


class TokenKind(models.TextChoices):
    """Which door a token opens; the kind stands in its clear text, for who finds one lying about."""

    API = "api", "for the API"
    METRICS = "metrics", "for /metrics/ only"


class TokenScope(models.TextChoices):
    """What a token of the API may be used for, within what its account's role may."""

    READ = "read", "read whatever the account may read"
    WRITE = "write", "make, change and remove, upload, ask for work"
    REPORTS = "reports", "read issued reports, and nothing else"


def usual_scopes() -> list[str]:
    """What a token may when nothing was said: all that its account may."""
    return [TokenScope.READ.value, TokenScope.WRITE.value]


class ApiToken(models.Model):
    """`wl_<kind>_` + 30 base-62 characters + a CRC-32; shown once. `last_used_at` is up to a minute late."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="tokens")
    name = models.CharField(max_length=120, blank=True)
    kind = models.CharField(max_length=20, choices=TokenKind, default=TokenKind.API)
    scopes = models.JSONField(default=usual_scopes, blank=True)
    sha256 = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"token of {self.user}"

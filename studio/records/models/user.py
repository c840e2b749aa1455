"""Accounts. What an account may do is its membership's role, not a flag here."""

from __future__ import annotations

from collections.abc import Iterator

from django.contrib.auth.models import AbstractUser
from django.db import models
from uuid6 import uuid7


class User(AbstractUser):
    """Somebody who signs in: owner, fitter, client or shop. `times_signed_out` counts signings out of everywhere."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    times_signed_out = models.PositiveIntegerField(default=0, editable=False)

    class Meta:
        ordering = ["-id"]

    def get_session_auth_hash(self) -> str:
        """What a browser's session must still match: the password, and that nobody signed out everywhere since."""
        return f"{super().get_session_auth_hash()}.{self.times_signed_out}"

    def get_session_auth_fallback_hash(self) -> Iterator[str]:
        """The same under older secret keys."""
        for earlier in super().get_session_auth_fallback_hash():
            yield f"{earlier}.{self.times_signed_out}"

"""Accounts. What an account may do is its membership's role, not a flag here."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser
from django.db import models
from uuid6 import uuid7


class User(AbstractUser):
    """Somebody who signs in: owner, fitter, client or shop."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)

    class Meta:
        ordering = ["-id"]

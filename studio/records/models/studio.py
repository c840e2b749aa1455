"""The tenant, and the roles that accounts have in one."""

from __future__ import annotations

from django.db import models
from uuid6 import uuid7


class Role(models.TextChoices):
    """What an account may do: an owner all that a fitter may, and staff."""

    OWNER = "owner", "owner"
    FITTER = "fitter", "fitter"
    CLIENT = "client", "client"
    SHOP = "shop", "shop"


class Studio(models.Model):
    """One tenant. Every row belongs to one studio."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    name = models.CharField(max_length=200)
    address = models.TextField(blank=True)
    timezone = models.CharField(max_length=64, default="UTC")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return self.name

"""The tenant and who works in it."""

from __future__ import annotations

from django.db import models
from uuid6 import uuid7

from studio.records.models.user import User


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


class Membership(models.Model):
    """A user's one role in one studio; a person who needs two roles has two accounts."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    studio = models.ForeignKey(Studio, on_delete=models.PROTECT, related_name="memberships")
    user = models.OneToOneField(User, on_delete=models.CASCADE, related_name="membership")
    role = models.CharField(max_length=10, choices=Role)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(role__in=Role.values),
                name="membership_role_known",
                violation_error_message="A role is one of owner, fitter, client, shop.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user} as {self.role}"

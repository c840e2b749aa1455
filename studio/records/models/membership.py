"""Who belongs to a studio, and the one-time links by which people come in."""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from studio.records.models.base import Record
from studio.records.models.rider import Rider
from studio.records.models.studio import Role
from studio.records.models.user import User


class Membership(Record):
    """A user's one role in one studio; a person who needs two roles has two accounts.

    Who was removed keeps the row, so that what they did still names them; their account is inactive and opens nothing.
    """

    client_paths: ClassVar[tuple[str, ...]] = ("user",)

    user = models.OneToOneField(User, on_delete=models.CASCADE, related_name="membership")
    role = models.CharField(max_length=10, choices=Role)

    class Meta(Record.Meta):
        constraints = [
            models.CheckConstraint(
                condition=models.Q(role__in=Role.values),
                name="membership_role_known",
                violation_error_message="A role is one of owner, fitter, client, shop.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user} as {self.role}"


class Invitation(Record):
    """A link that opens once: a new account with a role, or a new password for an account that is there.

    The link's secret is shown once to the owner who made it; here lies its SHA-256. The row is gone when it was used.
    """

    role = models.CharField(max_length=10, choices=Role)
    name = models.CharField(max_length=120, blank=True)
    rider = models.ForeignKey(Rider, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    user = models.ForeignKey(User, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    sha256 = models.CharField(max_length=64, unique=True)
    expires_at = models.DateTimeField()

    class Meta(Record.Meta):
        constraints = [
            models.CheckConstraint(
                condition=models.Q(role__in=Role.values),
                name="invitation_role_known",
                violation_error_message="A role is one of owner, fitter, client, shop.",
            ),
            models.CheckConstraint(
                condition=models.Q(rider__isnull=True) | models.Q(role=Role.CLIENT),
                name="invitation_rider_is_a_clients",
                violation_error_message="Only a client's invitation names a rider.",
            ),
        ]

    def __str__(self) -> str:
        return f"invitation as {self.role}"

"""Who sees which row: `objects.visible_to(user)` is the only way that the doors reach rows.

A row belongs to one studio. Owners and fitters see their studio; a client sees what `client_path`
leads from the row to their own account; a shop account and a stranger see nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from django.db import models

from studio.records.models.studio import Role
from studio.records.models.user import User

if TYPE_CHECKING:
    from studio.records.models.membership import Membership

M = TypeVar("M", bound=models.Model)


def membership_of(user: object) -> Membership | None:
    """The caller's membership; None for a stranger. Costs a query the first time, then it is kept on the user."""
    if not isinstance(user, User) or not user.is_active:
        return None
    return getattr(user, "membership", None)


class RecordQuerySet(models.QuerySet[M]):
    """Rows of a studio."""

    def visible_to(self, user: object) -> RecordQuerySet[M]:
        membership = membership_of(user)
        if membership is None:
            return self.none()
        if membership.role in (Role.OWNER, Role.FITTER):
            return self.filter(studio_id=membership.studio_id)
        client_paths: tuple[str, ...] = getattr(self.model, "client_paths", ())
        if membership.role != Role.CLIENT or not client_paths:
            return self.none()
        own = models.Q()
        for path in client_paths:
            own |= models.Q(**{path: user})
        return self.filter(own, studio_id=membership.studio_id)

"""One-time links that let people in without mail: the owner hands the link over, whoever opens it first has used it."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable
from datetime import timedelta
from typing import Any

from django.utils import timezone

from analysis.readers.faults import Fault, shown
from studio.records.errors import Conflict, Unusable, fault, sentence
from studio.records.models import Invitation, Membership, Rider, Role, Studio, User
from studio.records.services import write
from studio.records.services.accounts import password_set
from studio.records.services.events import note_event
from studio.records.services.people import account_create, rider_update

LIFETIME = timedelta(days=7)
INVITED = (Role.FITTER.value, Role.CLIENT.value, Role.SHOP.value)
OVER = "one that was not used, taken back or over after 7 days; ask the owner for a new one"


def invitation_create(
    *,
    studio: Studio,
    by: User,
    role: str = "",
    name: str = "",
    rider: Rider | None = None,
    membership: Membership | None = None,
) -> tuple[Invitation, str]:
    """Make a link for a new account, or for a member's new password. Its key is given back once and kept nowhere."""
    key = secrets.token_urlsafe(32)
    fields: dict[str, Any] = {"role": role, "name": name, "rider": rider}
    rules = [_role_can_be_invited, _rider_is_free]
    if membership is not None:
        _refuse_both(role, rider)
        fields |= {"role": membership.role, "user": membership.user}
        rules = []
    fields |= {"sha256": _sha256(key), "expires_at": timezone.now() + LIFETIME}
    with write.change_of(studio):
        Invitation.objects.filter(studio=studio, expires_at__lte=timezone.now()).delete()
        invitation = write.create(Invitation, studio=studio, by=by, fields=fields, rules=rules)
    return invitation, key


def invitation_delete(*, record: Invitation, by: User, version: int) -> None:
    """Take a link back."""
    write.delete(record, by=by, version=version)


def invitation_of(key: str) -> Invitation | None:
    """What the link still opens."""
    rows = Invitation.objects.select_related("studio", "user", "rider")
    return rows.filter(sha256=_sha256(key), expires_at__gt=timezone.now()).first()


def invitation_accept(*, key: str, password: str, username: str = "", email: str = "") -> User:
    """Use the link up: a new account comes in, or a member's new password holds.

    Raises
    ------
    Unusable
        When the link opens nothing (any more), or name or password cannot be used; then the link still holds.
    """
    invitation = invitation_of(key)
    if invitation is None:
        raise _refused()
    studio = invitation.studio
    with write.change_of(studio):
        if not Invitation.objects.filter(pk=invitation.pk, expires_at__gt=timezone.now()).delete()[0]:
            raise _refused()  # somebody was faster
        if invitation.user is not None:
            user = invitation.user
            password_set(user=user, password=password)
        else:
            user = account_create(
                studio=studio, username=username, password=password, role=invitation.role, email=email
            )
            if invitation.rider is not None:
                _link(invitation.rider, user)
        note_event(studio=studio, by=user, verb="used", record=invitation)
    return user


def _link(rider: Rider, user: User) -> None:
    if rider.user_id is not None:
        raise Conflict("The rider of this link has an account by now; ask the owner for a new link.")
    rider_update(record=rider, by=user, version=rider.version, changes={"user": user})


def _refused() -> Unusable:
    found = fault("key", "a link that opens nothing", OVER)
    return Unusable(sentence("Nobody can come in by this link", [found]), faults=(found,))


def _refuse_both(role: str, rider: Rider | None) -> None:
    if role or rider:
        both = fault("membership", "one beside a role or a rider", "a member alone: they keep their role and rider")
        raise Unusable(sentence("This invitation cannot be kept", [both]), faults=(both,))


def _role_can_be_invited(invitation: Invitation) -> Iterable[Fault]:
    if invitation.role not in INVITED:
        yield fault("role", shown(invitation.role), "fitter, client or shop; a member is made an owner afterwards")


def _rider_is_free(invitation: Invitation) -> Iterable[Fault]:
    if invitation.rider is not None and invitation.rider.user_id is not None:
        yield fault("rider", shown(invitation.rider.code), "a rider without an account")


def _sha256(key: str) -> str:
    return hashlib.sha256(key.encode()).hexdigest()

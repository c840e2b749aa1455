"""One's own account: its password, and signing out of everywhere. Who belongs to a studio is `members.py`."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from studio.records.errors import Unusable, fault, sentence
from studio.records.models import ApiToken, Studio, User
from studio.records.services.events import note_event, turn
from studio.records.services.people import password_faults
from studio.records.services.tokens import token_revoke


def password_change(*, user: User, old: str, new: str) -> None:
    """Put a new password in force for who knows the old one; every browser and program must sign in anew."""
    if not user.check_password(old):
        wrong = fault("old_password", "another one", "the password that is in force")
        raise Unusable(sentence("The password cannot be changed", [wrong]), faults=(wrong,))
    password_set(user=user, password=new, key="new_password")


def password_set(*, user: User, password: str, key: str = "password") -> None:
    """Put a password in force; `key` is what the caller calls it."""
    faults = password_faults(password, user, key=key)
    if faults:
        raise Unusable(sentence("The password cannot be changed", faults), faults=tuple(faults))
    with _own_turn(user) as studio:
        user.set_password(password)
        user.save(update_fields=["password"])
        if studio is not None:
            revoke_tokens(user)
            note_event(studio=studio, by=user, verb="changed password of", record=user)


def sign_out_everywhere(*, user: User) -> None:
    """End every browser's session and every token of the account, this one's too."""
    with _own_turn(user) as studio:
        close_doors(user)
        if studio is not None:
            note_event(studio=studio, by=user, verb="signed out everywhere", record=user)


@contextmanager
def _own_turn(user: User) -> Iterator[Studio | None]:
    """The turn of the account's studio; an account of none writes by itself and leaves no trail."""
    membership = getattr(user, "membership", None)
    if membership is None:
        with transaction.atomic():
            yield None
        return
    with turn(membership.studio):
        yield membership.studio


def close_doors(user: User) -> None:
    """What ends sessions and tokens, within the act that asks for it."""
    User.objects.filter(pk=user.pk).update(times_signed_out=F("times_signed_out") + 1)
    user.refresh_from_db(fields=["times_signed_out"])
    revoke_tokens(user)


def revoke_tokens(user: User) -> None:
    """Take back every token of the account that still opens something."""
    for token in ApiToken.objects.filter(user=user, revoked_at__isnull=True, expires_at__gt=timezone.now()):
        token_revoke(token=token)

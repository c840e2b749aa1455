"""One's own account: its password, and signing out of everywhere. Who belongs to a studio is `members.py`."""

from __future__ import annotations

from django.db.models import F
from django.utils import timezone

from studio.records.errors import Unusable, fault, sentence
from studio.records.models import ApiToken, User
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
    with turn(user.membership.studio):
        user.set_password(password)
        user.save(update_fields=["password"])
        revoke_tokens(user)
        note_event(studio=user.membership.studio, by=user, verb="changed password of", record=user)


def sign_out_everywhere(*, user: User) -> None:
    """End every browser's session and every token of the account, this one's too."""
    with turn(user.membership.studio):
        close_doors(user)
        note_event(studio=user.membership.studio, by=user, verb="signed out everywhere", record=user)


def close_doors(user: User) -> None:
    """What ends sessions and tokens, within the act that asks for it."""
    User.objects.filter(pk=user.pk).update(times_signed_out=F("times_signed_out") + 1)
    user.refresh_from_db(fields=["times_signed_out"])
    revoke_tokens(user)


def revoke_tokens(user: User) -> None:
    """Take back every token of the account that still opens something."""
    for token in ApiToken.objects.filter(user=user, revoked_at__isnull=True, expires_at__gt=timezone.now()):
        token_revoke(token=token)

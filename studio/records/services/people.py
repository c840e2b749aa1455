"""Studios, accounts and riders."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from analysis.readers.faults import Fault, shown
from analysis.readers.times import known_zone
from studio.records.errors import Unusable, fault, sentence
from studio.records.models import Consent, ConsentPurpose, Membership, Rider, Role, Studio, User
from studio.records.services import write
from studio.records.services.checking import check
from studio.records.services.events import note_event

RIDER_FIELDS = (
    "code",
    "given_names",
    "family_name",
    "birth_year",
    "height_cm",
    "contact",
    "health_notes",
    "guardian_name",
    "guardian_agreed_on",
    "user",
)


def studio_create(*, name: str, timezone: str, address: str = "", by: User | None = None) -> Studio:
    """Open a studio."""
    if known_zone(timezone) is None:
        found = fault("timezone", shown(timezone), "an IANA time zone such as Atlantic/Azores")
        raise Unusable(sentence("This studio cannot be kept", [found]), faults=(found,))
    studio = Studio(name=name, timezone=timezone, address=address)
    check(studio)
    studio.save(force_insert=True)
    note_event(studio=studio, by=by, verb="made", record=studio)
    return studio


def account_create(
    *, studio: Studio, username: str, password: str, role: str, email: str = "", by: User | None = None
) -> User:
    """Make an account with its one role in the studio."""
    user = User(username=username, email=email)
    faults = password_faults(password, user)
    if faults:
        raise Unusable(sentence("This account cannot be kept", faults), faults=tuple(faults))
    user.set_password(password)
    membership = Membership(studio=studio, role=role)
    with write.change_of(studio):
        check(user)
        user.save(force_insert=True)
        membership.user = user
        check(membership)
        membership.save(force_insert=True)
        note_event(studio=studio, by=by, verb="made", record=membership)
    return user


def password_faults(password: str, user: User, key: str = "password") -> list[Fault]:
    """Why the password cannot be this account's; it is not repeated."""
    try:
        validate_password(password, user)
    except ValidationError as error:
        return [fault(key, "one that is too easy", " ".join(error.messages))]
    return []


def rider_create(*, studio: Studio, by: User | None, **fields: object) -> Rider:
    """Enter a rider."""
    return write.create(Rider, studio=studio, by=by, fields=fields, rules=[_user_is_client, _notes_rest_on_consent])


def rider_update(*, record: Rider, by: User | None, version: int, changes: Mapping[str, Any]) -> Rider:
    """Change a rider."""
    rules = [_user_is_client, *([_notes_rest_on_consent] if "health_notes" in changes else [])]
    return write.update(record, by=by, version=version, changes=changes, changeable=RIDER_FIELDS, rules=rules)


def rider_delete(*, record: Rider, by: User | None, version: int) -> None:
    """Delete a rider who has no bikes, items or sessions."""
    write.delete(record, by=by, version=version)


def _user_is_client(rider: Rider) -> Iterable[Fault]:
    if rider.user is not None and rider.user.membership.role != Role.CLIENT:
        yield fault("user", shown(rider.user.username), "an account whose role is client")


def _notes_rest_on_consent(rider: Rider) -> Iterable[Fault]:
    """What hurts is written down only while the rider agrees to that; the notes themselves are not repeated."""
    agreed = Consent.objects.filter(rider=rider.pk, purpose=ConsentPurpose.HEALTH_NOTES, withdrawn_at=None)
    if rider.health_notes and not agreed.exists():
        allowed = "nothing, until the rider has agreed to health notes, by their account or on paper"
        yield fault("health_notes", "notes without the rider's consent to them", allowed)

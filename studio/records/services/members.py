"""Who belongs to the studio, as what, and which rider a client is. A studio always keeps an owner who can sign in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from analysis.readers.faults import Fault, shown
from studio.records.errors import Conflict, fault
from studio.records.models import Invitation, Membership, Rider, Role, User
from studio.records.services import write
from studio.records.services.accounts import close_doors
from studio.records.services.events import note_event
from studio.records.services.people import rider_update

LAST_OWNER = "This is the studio's last owner, and a studio keeps one: make somebody else an owner first."


def membership_update(*, record: Membership, by: User, version: int, changes: Mapping[str, Any]) -> Membership:
    """Give a member another role, or link a client to a rider (`rider`; None unlinks). It holds from the next request.

    Raises
    ------
    Conflict
        When the studio would be left without an owner.
    """
    columns = {name: value for name, value in changes.items() if name != "rider"}
    rider, former = changes.get("rider"), record.role
    with write.change_of(record.studio):
        if columns.get("role", former) != Role.OWNER:
            _require_another_owner(record)
        if "rider" in changes:
            _unlink(record.user, by, but=rider)
        write.update(
            record, by=by, version=version, changes=columns, changeable=("role",), rules=[_linked_one_is_a_client]
        )
        if rider is not None:
            _link(record, rider, by)
        if record.role != former:
            note_event(studio=record.studio, by=by, verb=f"made {record.role} of", record=record)
    return record


def membership_remove(*, record: Membership, by: User, version: int) -> None:
    """End a membership: the account opens nothing from the next request on, a client's rider is free for another.

    The row stays: sessions and reports go on naming who did them.
    """
    with write.change_of(record.studio):
        _require_another_owner(record)
        user = record.user
        _unlink(user, by)
        write.update(record, by=by, version=version, changes={}, changeable=())
        user.is_active = False
        user.set_unusable_password()
        user.save(update_fields=["is_active", "password"])
        close_doors(user)
        Invitation.objects.filter(user=user).delete()
        note_event(studio=record.studio, by=by, verb="removed", record=record)


def _require_another_owner(record: Membership) -> None:
    """Asked within the studio's turn: of two owners who remove each other at the same moment, the second is refused."""
    owners = Membership.objects.filter(studio=record.studio, role=Role.OWNER, user__is_active=True)
    if set(owners.values_list("pk", flat=True)) == {record.pk}:
        raise Conflict(LAST_OWNER)


def _unlink(user: User, by: User, *, but: Rider | None = None) -> None:
    rider = Rider.objects.filter(user=user).first()
    if rider is not None and rider != but:
        rider_update(record=rider, by=by, version=rider.version, changes={"user": None})


def _link(membership: Membership, rider: Rider, by: User) -> None:
    if rider.user_id == membership.user_id:
        return
    if rider.user_id is not None:
        raise Conflict("This rider is linked to another account; unlink that one first.")
    rider_update(record=rider, by=by, version=rider.version, changes={"user": membership.user})


def _linked_one_is_a_client(membership: Membership) -> Iterable[Fault]:
    rider = Rider.objects.filter(user_id=membership.user_id).first()
    if rider is not None and membership.role != Role.CLIENT:
        yield fault("role", shown(membership.role), f"client, as long as the account is linked to rider {rider.code}")

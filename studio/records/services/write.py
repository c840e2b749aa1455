"""How every record is made, changed and deleted: check, write under its version, note the event.

The subject files beside this one say which fields may change and what must hold between records.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from copy import copy
from typing import Any, TypeVar

from django.db import IntegrityError
from django.db.models import F, ProtectedError
from django.utils import timezone

from analysis.readers.faults import Fault, shown
from studio.records.errors import Conflict, StaleVersion, Unusable, fault, sentence
from studio.records.models import Studio, User
from studio.records.models.base import Record
from studio.records.services.checking import Rule, check
from studio.records.services.events import note_event, turn

R = TypeVar("R", bound=Record)


@contextmanager
def change_of(studio: Studio) -> Iterator[None]:
    """The studio's turn to write; what only the database could refuse becomes a conflict in words."""
    try:
        with turn(studio):
            yield
    except IntegrityError as error:
        line = str(error).splitlines()[0]
        # The guards of migration `freeze_used_setups` say what to do; other words are the database's own.
        words = line if "make a new" in line else "Somebody wrote the same at the same moment; read again and decide."
        raise Conflict(words) from error


def create(
    model: type[R],
    *,
    studio: Studio,
    by: User | None,
    fields: Mapping[str, Any],
    rules: Sequence[Rule[R]] = (),
) -> R:
    """Make a record of the studio."""
    return enter(model(studio=studio, **fields), by=by, rules=rules)


def enter(record: R, *, by: User | None, rules: Sequence[Rule[R]] = (), verb: str = "made") -> R:
    """Write a record that is in no table yet."""
    with change_of(record.studio):
        check(record, rules=rules)
        record.save(force_insert=True)
        note_event(studio=record.studio, by=by, verb=verb, record=record)
    return record


def update(
    record: R,
    *,
    by: User | None,
    version: int,
    changes: Mapping[str, Any],
    changeable: Collection[str],
    rules: Sequence[Rule[R]] = (),
    verb: str = "changed",
) -> R:
    """Change a record that still has `version`; the same object comes back with the new values."""
    refuse_unknown(record, changes, changeable)
    candidate = changed_copy(record, changes)
    with change_of(record.studio):
        check(candidate, rules=rules)
        values = {name: getattr(candidate, name) for name in changes}
        now = timezone.now()
        rows = type(record)._default_manager.filter(pk=record.pk, version=version)
        if not rows.update(**values, version=F("version") + 1, updated_at=now):
            raise stale(record)
        note_event(studio=record.studio, by=by, verb=verb, record=record, detail={"fields": sorted(changes)})
    for name, value in values.items():
        setattr(record, name, value)
    record.version, record.updated_at = version + 1, now
    return record


def changed_copy(record: R, changes: Mapping[str, Any]) -> R:
    """The record as it would be; the given one stays as it is."""
    candidate = copy(record)
    for name, value in changes.items():
        setattr(candidate, name, value)
    return candidate


def delete(record: R, *, by: User | None, version: int) -> None:
    """Delete a record that still has `version` and that nothing hangs on."""
    with change_of(record.studio):
        found = type(record)._default_manager.select_for_update().filter(pk=record.pk, version=version)
        row = found.first()
        if row is None:
            raise stale(record)
        note_event(studio=record.studio, by=by, verb="deleted", record=record)
        try:
            row.delete()
        except ProtectedError as error:
            users = sorted({str(other._meta.verbose_name_plural) for other in error.protected_objects})
            noun = record._meta.verbose_name
            raise Conflict(f"The {noun} is in use by {', '.join(users)}; delete or change those first.") from error


def stale(record: Record) -> StaleVersion:
    """The refusal of a change to something that was read too long ago."""
    return StaleVersion(f"The {record._meta.verbose_name} was changed or deleted since it was read; read it again.")


def refuse_unknown(record: Record, changes: Mapping[str, Any], changeable: Collection[str]) -> None:
    """Refuse changes to fields that stay as they were made."""
    allowed = "one of: " + ", ".join(sorted(changeable))
    faults: list[Fault] = [
        fault(name, shown(value), allowed) for name, value in changes.items() if name not in changeable
    ]
    if faults:
        noun = record._meta.verbose_name
        raise Unusable(sentence(f"Not every field of a {noun} can change", faults), faults=tuple(faults))

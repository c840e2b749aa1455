"""The trail of who did what: one chain of hashes for each studio.

The chain itself holds ids, times and kinds. Words and the caller's address go into a side row, of which the chain
knows only a salted hash: emptying that row forgets the person and leaves the chain whole.
"""

from __future__ import annotations

import hashlib
import json
import secrets
import threading
from collections.abc import Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager, nullcontext
from datetime import UTC
from typing import Any

from django.db import connection, models, transaction
from django.utils import timezone

from studio.records.models import Event, EventDetail, Studio, User

_writers = threading.Lock()


def _in_line() -> AbstractContextManager[object]:
    """Under SQLite the threads of a process stand in line for the one write lock.

    SQLite itself lets waiters try again after naps that grow: of many, some would nap until their time is over.
    """
    needless = connection.in_atomic_block or connection.features.has_select_for_update
    return nullcontext() if needless else _writers


@contextmanager
def turn(studio: Studio, *, savepoint: bool = True) -> Iterator[None]:
    """A transaction in which the studio's writes wait for each other; `savepoint` as in Django's `atomic`.

    Everything that ends with an event takes this lock first and nothing else before it, so two writers can neither
    fork the chain nor wait for each other in a ring. `no_key`: foreign keys to the studio may still be checked.
    Under SQLite the transaction itself is the lock (IMMEDIATE), and a question would only cost time.
    """
    with _in_line(), transaction.atomic(savepoint=savepoint):
        if connection.features.has_select_for_update:
            Studio.objects.select_for_update(no_key=True).get(pk=studio.pk)
        yield


def note_event(
    *,
    studio: Studio,
    by: User | None,
    verb: str,
    record: models.Model,
    detail: Mapping[str, Any] | None = None,
    address: str = "",
) -> Event:
    """Append one act to the studio's chain, within the transaction of the act itself."""
    salt = secrets.token_hex(16) if detail or address else ""
    side = EventDetail(salt=salt, text=dict(detail or {}), address=address)
    with turn(studio, savepoint=False):  # an act whose event fails is undone as a whole
        number, sha256 = _end_of_chain(studio)
        event = Event(
            studio=studio,
            number=number + 1,
            at=timezone.now(),
            actor_id=by.pk if by else None,
            verb=verb,
            record_kind=record._meta.model_name or "",
            record_id=record.pk,
            detail_sha256=_detail_sha256(side) if salt else "",
            previous_sha256=sha256,
        )
        event.sha256 = event_sha256(event)
        event.save(force_insert=True)
        if salt:
            side.event = event
            side.save(force_insert=True)
    return event


def _end_of_chain(studio: Studio) -> tuple[int, str]:
    """Number and hash of the studio's last event, in SQL: every write asks, and building the question took its time."""
    columns = [connection.ops.quote_name(name) for name in (Event._meta.db_table, "studio_id", "number", "sha256")]
    asked = "SELECT {2}, {3} FROM {0} WHERE {1} = %s ORDER BY {2} DESC LIMIT 1".format(*columns)
    with connection.cursor() as cursor:
        cursor.execute(asked, [Event._meta.get_field("studio").get_db_prep_value(studio.pk, connection)])
        number, sha256 = cursor.fetchone() or (0, "")
    return number, sha256


def event_sha256(event: Event) -> str:
    """The hash of every other column of an event."""
    columns = [
        str(event.pk),
        str(event.studio_id),
        event.number,
        event.at.astimezone(UTC).isoformat(timespec="microseconds"),
        str(event.actor_id or ""),
        event.verb,
        event.record_kind,
        str(event.record_id or ""),
        event.detail_sha256,
        event.previous_sha256,
    ]
    return hashlib.sha256(json.dumps(columns).encode()).hexdigest()


def chain_faults(studio: Studio) -> list[str]:
    """Everything in the studio's chain that was changed, taken out or put in; empty when it is whole.

    Events cut off at its very end leave no gap and cannot be seen here: the database refuses to delete them.
    """
    faults: list[str] = []
    number, sha256 = 0, ""
    events = Event.objects.filter(studio=studio).select_related("detail").order_by("number")
    for event in events.iterator(chunk_size=1000):
        if event.number != number + 1:
            faults.append(f"Between events {number} and {event.number} something is missing.")
        if event.previous_sha256 != sha256:
            faults.append(f"Event {event.number} does not follow event {number}.")
        if event.sha256 != event_sha256(event):
            faults.append(f"Event {event.number} was changed.")
        if _detail_was_changed(event):
            faults.append(f"The words of event {event.number} were changed.")
        number, sha256 = event.number, event.sha256
    return faults


def _detail_was_changed(event: Event) -> bool:
    side = getattr(event, "detail", None)
    if side is None or not (side.salt or side.text or side.address):
        return False  # none was written, or it was emptied, which is allowed
    return _detail_sha256(side) != event.detail_sha256


def _detail_sha256(side: EventDetail) -> str:
    text = json.dumps([side.salt, side.text, side.address], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()

"""Uploaded recordings: the bytes are on the disk before the row names them, and stay as they came."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import asdict
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.db import connection

from analysis.readers.archive import NAME_ALLOWED, canonical, safe_name
from analysis.readers.faults import shown
from analysis.readers.samples import Recording as Reading
from studio.records.errors import Conflict, RecordsError, TooLarge, Unusable, fault
from studio.records.models import FieldSession, Recording, RecordingState, User
from studio.records.services import write
from studio.records.services.events import note_event
from studio.records.store import FileTooLarge, Incoming, StoredFile, incoming, keep

READING_FIELDS = (
    "state",
    "format",
    "device",
    "mapping",
    "channels",
    "laps",
    "samples",
    "started_at",
    "ended_at",
    "findings",
    "problem",
    "channels_sha256",
)


def recording_store(*, session: FieldSession, filename: str, chunks: Iterable[bytes], by: User | None) -> Recording:
    """Keep an uploaded file. The same bytes under the same name are the recording that is there already."""
    return recordings_store(session=session, files=[(filename, chunks)], by=by)[0]


def recordings_store(
    *,
    session: FieldSession,
    files: Sequence[tuple[str, Iterable[bytes]]],
    by: User | None,
    entered: Callable[[Recording], object] | None = None,
) -> list[Recording]:
    """Keep uploaded files of a session, all or none of them; a refusal names every one that cannot be kept.

    `entered` is called for each row within the transaction that enters it: what hangs on it is one fact with it.
    """
    refusals: list[RecordsError] = []
    with ExitStack() as ending:
        came: list[tuple[str, Incoming]] = []
        for filename, chunks in files:
            try:
                came.append((canonical(filename), ending.enter_context(_incoming(session, filename, chunks))))
            except RecordsError as refusal:
                refusals.append(refusal)
        with write.change_of(session.studio):
            there = _bytes_by_name(session, [name for name, _ in came])
            taken = dict(there)
            for name, one in came:
                try:
                    _require_same(name, taken.setdefault(name, one.stored.sha256), one.stored)
                except RecordsError as refusal:
                    refusals.append(refusal)
            if refusals:
                raise _together(refusals)  # before any of the bytes has its name: nothing is left of them
            on_the_disk = keep([one for _, one in came])
            rows = [_entered(session, name, one.stored, by, there) for name, one in came]
            if entered is not None:
                for row in rows:
                    entered(row)
            on_the_disk()  # before the rows commit: they name the bytes
    return rows


def _together(refusals: Sequence[RecordsError]) -> RecordsError:
    """One refusal that says all, of the first one's kind."""
    faults = tuple(fault for refusal in refusals for fault in refusal.faults)
    return type(refusals[0])(" ".join(refusal.message for refusal in refusals), faults=faults)


def _entered(session: FieldSession, name: str, stored: StoredFile, by: User | None, there: dict[str, str]) -> Recording:
    """A row for the bytes, or the one that has them under this name."""
    if name in there:
        return Recording.objects.get(session=session, filename=name)
    there[name] = stored.sha256
    return recording_enter(session=session, filename=name, stored=stored, by=by)


def _bytes_by_name(session: FieldSession, filenames: Sequence[str]) -> dict[str, str]:
    """The hash behind each of the names that the session has already, in SQL: as for the end of the chain of events."""
    if not filenames:
        return {}  # PostgreSQL has no empty list
    columns = [
        connection.ops.quote_name(name) for name in (Recording._meta.db_table, "filename", "sha256", "session_id")
    ]
    asked = "SELECT {1}, {2} FROM {0} WHERE {3} = %s AND {1} IN ({names})"
    asked = asked.format(*columns, names=", ".join(["%s"] * len(filenames)))
    with connection.cursor() as cursor:
        cursor.execute(
            asked, [Recording._meta.get_field("session").get_db_prep_value(session.pk, connection), *filenames]
        )
        return dict(cursor.fetchall())


def _require_same(filename: str, sha256: str, stored: StoredFile) -> None:
    """Refuse other bytes under a name that is taken."""
    if sha256 != stored.sha256:
        found = fault("file", f"{shown(filename)}, with other bytes than the one that is there", "another name")
        raise Conflict("A file name is used once in a session.", faults=(found,))


@contextmanager
def _incoming(session: FieldSession, filename: str, chunks: Iterable[bytes]) -> Iterator[Incoming]:
    """Bring the bytes to the disk; too many or none are refused."""
    if not safe_name(filename):
        raise Unusable("The file's name cannot be kept.", faults=(fault("file", shown(filename), NAME_ALLOWED),))
    most = settings.UPLOAD_MAX_BYTES
    try:
        with incoming(studio_id=session.studio_id, chunks=chunks, max_bytes=most) as one:
            if not one.stored.size_bytes:
                found = fault("file", f"{shown(filename)}, which is empty", "a recording with at least one sample")
                raise Unusable("The recording is empty.", faults=(found,))
            yield one
    except FileTooLarge as error:
        allowed = f"at most {most // 2**20} MiB a recording"
        found = fault("file", f"{shown(filename)} with more", allowed)
        raise TooLarge(f"The recording is too large: {allowed}.", faults=(found,)) from error


def recording_enter(*, session: FieldSession, filename: str, stored: StoredFile, by: User | None) -> Recording:
    """Enter bytes that are on the disk as a recording of the session.

    Within the studio's turn. What a record is asked before it is written was asked of the file before its bytes were
    kept, so it is not again.
    """
    facts = {"sha256": stored.sha256, "size_bytes": stored.size_bytes}
    row = Recording(studio=session.studio, session=session, filename=canonical(filename), **facts)
    row.save(force_insert=True)
    note_event(studio=session.studio, by=by, verb="made", record=row)
    return row


def recording_read(
    *, recording: Recording, reading: Reading, channels_sha256: str, mapping: Mapping[str, str] | None = None
) -> Recording:
    """Enter what was read from a recording by the studio's own `mapping`.

    Its channels lie in the file store under `channels_sha256`.
    """
    start, seconds = reading.start, reading.time_s
    changes = {
        "state": RecordingState.READ,
        "format": reading.format,
        "device": dict(reading.device),
        "mapping": dict(mapping or {}),
        "channels": list(reading.columns),
        "laps": max((lap.number for lap in reading.laps), default=None),
        "samples": int(seconds.size),
        "started_at": start and start + timedelta(seconds=float(seconds[0])),
        "ended_at": start and start + timedelta(seconds=float(seconds[-1])),
        "findings": [asdict(note) for note in reading.notes],
        "problem": None,
        "channels_sha256": channels_sha256,
    }
    return _after_reading(recording, changes)


def recording_refuse(
    *, recording: Recording, problem: Mapping[str, Any], device: Mapping[str, Any] | None = None
) -> Recording:
    """Enter why a recording could not be read, and what it still says of its device; its bytes are kept."""
    changes = {"state": RecordingState.REFUSED, "problem": dict(problem), "device": dict(device or {})}
    return _after_reading(recording, changes)


def _after_reading(recording: Recording, changes: Mapping[str, Any]) -> Recording:
    return write.update(recording, by=None, version=recording.version, changes=changes, changeable=READING_FIELDS)


def recording_delete(*, record: Recording, by: User | None, version: int) -> None:
    """Take a recording from its session; no run may use it. The bytes stay until the rider's records are erased."""
    write.delete(record, by=by, version=version)

"""The file store: bytes under their SHA-256 within a studio, on the disk before a row names them."""

from __future__ import annotations

import errno
import hashlib
import os
import shutil
import tempfile
from collections.abc import Callable, Collection, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Protocol
from uuid import UUID

from django.conf import settings

ROOM_BYTES = 32 * 1024 * 1024
_known: set[Path] = set()
"""Folders whose entry in the one above this process has flushed to the disk."""
_flushes = ThreadPoolExecutor(8, thread_name_prefix="flush")
"""Starts its threads when they are first asked for: a worker's children, forked before that, each have their own."""
TORN = "incoming-"
"""How the name of a file begins that is not whole yet."""


@dataclass(frozen=True, slots=True)
class StoredFile:
    """What was kept."""

    sha256: str
    size_bytes: int


class FileTooLarge(Exception):
    """More bytes came than are allowed; nothing was kept."""


def _folder(studio_id: UUID) -> Path:
    return Path(settings.FILES_FOLDER) / str(studio_id)


def file_path(*, studio_id: UUID, sha256: str) -> Path:
    """Where the bytes with this hash lie."""
    return _folder(studio_id) / sha256[:2] / sha256


@dataclass(frozen=True, slots=True)
class Incoming:
    """Bytes that lie whole beside the others, under a torn file's name until they are kept."""

    stored: StoredFile
    path: Path
    target: Path
    flush: Future[None]
    """Of the bytes, which began before anybody asked whether they may be kept."""


@contextmanager
def incoming(*, studio_id: UUID, chunks: Iterable[bytes], max_bytes: int | None = None) -> Iterator[Incoming]:
    """Write and hash the bytes; at the end nothing is left of them unless they were kept meanwhile.

    Raises
    ------
    FileTooLarge
        When more than `max_bytes` come.
    """
    root = _folder(studio_id)
    root.mkdir(parents=True, exist_ok=True)
    digest, size = hashlib.sha256(), 0
    handle, temporary = tempfile.mkstemp(dir=root, prefix=TORN)
    try:
        with os.fdopen(handle, "wb") as file:
            for chunk in chunks:
                size += len(chunk)
                if max_bytes is not None and size > max_bytes:
                    raise FileTooLarge(f"more than {max_bytes} bytes")
                written = _flushes.submit(file.write, chunk)  # beside the hash, which takes as long
                digest.update(chunk)
                written.result()
        sha256 = digest.hexdigest()
        path, target = Path(temporary), file_path(studio_id=studio_id, sha256=sha256)
        yield Incoming(StoredFile(sha256, size), path, target, _flushes.submit(_sync, path))
    finally:
        Path(temporary).unlink(missing_ok=True)


def keep(came: Collection[Incoming]) -> Callable[[], None]:
    """Give the bytes their names and begin to flush their folders: all wait for the same disk.

    The answer waits for the end of it: whoever writes rows that name the bytes calls it before they commit.
    """
    targets = [_placed(one) for one in came]
    folders = {folder for target in targets for folder in target.parents[:3]} - _known  # any of them may be new
    places = {*(target.parent for target in targets), *(folder.parent for folder in folders)}
    under_way = [one.flush for one in came] + [_flushes.submit(_sync, place) for place in places]

    def wait() -> None:
        for flush in under_way:
            flush.result()
        _known.update(folders)

    return wait


def _placed(one: Incoming) -> Path:
    one.target.parent.mkdir(exist_ok=True)
    try:
        os.link(one.path, one.target)
    except OSError:  # there already and perhaps named by a row, so never torn; or files have one name only here
        one.flush.result()
        os.replace(one.path, one.target)
    return one.target


def keep_file(*, studio_id: UUID, chunks: Iterable[bytes], max_bytes: int | None = None) -> StoredFile:
    """Write the bytes, flush file and folder to the disk, then give hash and size. The same bytes twice cost nothing.

    Raises
    ------
    FileTooLarge
        When more than `max_bytes` come; nothing is kept.
    """
    with incoming(studio_id=studio_id, chunks=chunks, max_bytes=max_bytes) as came:
        keep([came])()
    return came.stored


def has_room() -> bool:
    """Whether the disk has room for what one job writes: channels of the largest upload, and its rows."""
    folder = Path(settings.FILES_FOLDER)
    while not folder.exists():
        folder = folder.parent
    return shutil.disk_usage(folder).free >= ROOM_BYTES


def is_full(error: Exception) -> bool:
    """Whether a write failed for want of room, on the disk or in the account's share of it."""
    return isinstance(error, OSError) and error.errno in {errno.ENOSPC, errno.EDQUOT}


class Writes(Protocol):
    """Writes a whole file into an open one."""

    def __call__(self, *, target: IO[bytes]) -> None: ...


def spooled(write: Writes) -> IO[bytes]:
    """What `write` makes, in a file without a name that stands at its begin; whoever answers with it closes it."""
    file = tempfile.TemporaryFile()  # noqa: SIM115 - the answer closes it, after the last byte
    try:
        write(target=file)
    except BaseException:
        file.close()
        raise
    file.seek(0)
    return file


def discard_file(*, studio_id: UUID, sha256: str) -> None:
    """Take bytes away for good. Only for who knows that no row names them."""
    file_path(studio_id=studio_id, sha256=sha256).unlink(missing_ok=True)


def discard_torn() -> None:
    """Remove what killed processes left half written. Only for who knows that nobody is writing now."""
    for torn in Path(settings.FILES_FOLDER).glob(f"*/{TORN}*"):
        torn.unlink(missing_ok=True)


def _sync(place: Path) -> None:
    """Flush a file or a folder to the disk."""
    handle = os.open(place, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)

"""The file store: bytes under their SHA-256 within a studio, on the disk before a row names them."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from uuid import UUID

from django.conf import settings


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


def keep_file(*, studio_id: UUID, chunks: Iterable[bytes], max_bytes: int | None = None) -> StoredFile:
    """Write the bytes, flush file and folder to the disk, then give hash and size. The same bytes twice cost nothing.

    Raises
    ------
    FileTooLarge
        When more than `max_bytes` come; nothing is kept.
    """
    root = _folder(studio_id)
    root.mkdir(parents=True, exist_ok=True)
    digest, size = hashlib.sha256(), 0
    handle, temporary = tempfile.mkstemp(dir=root, prefix="incoming-")
    try:
        with os.fdopen(handle, "wb") as file:
            for chunk in chunks:
                size += len(chunk)
                if max_bytes is not None and size > max_bytes:
                    raise FileTooLarge(f"more than {max_bytes} bytes")
                digest.update(chunk)
                file.write(chunk)
            file.flush()
            os.fsync(file.fileno())
        sha256 = digest.hexdigest()
        target = file_path(studio_id=studio_id, sha256=sha256)
        target.parent.mkdir(exist_ok=True)
        os.replace(temporary, target)
        for folder in (target.parent, root, root.parent, root.parent.parent):  # any of them may be new
            _sync_folder(folder)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    return StoredFile(sha256=sha256, size_bytes=size)


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)

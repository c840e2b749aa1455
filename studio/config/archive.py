"""The file that `backup` writes and `restore` reads: a zip with the database, the stored files, the secret key, and a
manifest that says what each of them hashes to. Which database, and where things go, is the commands' part.

The hashes find damage. They are no signature: whoever can write the archive can write the manifest too.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO

FORMAT = "windledger-backup/1"
MANIFEST = "manifest.json"
MANIFEST_MOST_BYTES = 64 * 1024 * 1024
CHUNK_BYTES = 1024 * 1024
DATABASES = {"sqlite": "database.sqlite3", "postgresql": "database.dump"}
SECRET_KEY = "secret_key"  # noqa: S105 - the file's name
STORED_FILE = re.compile(r"files/[0-9a-f-]{36}/[0-9a-f]{2}/[0-9a-f]{64}")
TORN = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, KeyError)


class BackupRefused(Exception):
    """Nothing was written; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class Manifest:
    """What an archive says of itself. `files` maps a member's name to its SHA-256."""

    format: str
    release: str
    made_at: str
    database: str
    migrations: tuple[str, ...]
    files: Mapping[str, str]


def write_archive(path: Path, *, members: Mapping[str, Path], about: Mapping[str, object]) -> Manifest:
    """Write the members and then the manifest, readable by their owner only, and flush the file to the disk."""
    with path.open("xb") as file:
        os.chmod(path, 0o600)
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
            files = {name: _add(archive, name, source) for name, source in members.items()}
            manifest = Manifest(format=FORMAT, files=files, **about)  # type: ignore[arg-type]
            archive.writestr(MANIFEST, json.dumps(asdict(manifest), indent=1))
        file.flush()
        os.fsync(file.fileno())
    return manifest


def _add(archive: zipfile.ZipFile, name: str, path: Path) -> str:
    """Copy a file in; gives the hash of what was copied."""
    with path.open("rb") as source, archive.open(name, "w", force_zip64=True) as member:
        return _copied(source, member)


def _copied(source: IO[bytes], target: IO[bytes]) -> str:
    digest = hashlib.sha256()
    while chunk := source.read(CHUNK_BYTES):
        digest.update(chunk)
        target.write(chunk)
    return digest.hexdigest()


class Archive:
    """An archive that is open for reading and has a sound manifest."""

    def __init__(self, path: Path, zipped: zipfile.ZipFile) -> None:
        self.path = path
        self.zipped = zipped
        self.manifest = self._manifest()
        if sorted(zipped.namelist()) != sorted([*self.manifest.files, MANIFEST]):
            raise damaged(path)

    def _manifest(self) -> Manifest:
        try:
            if self.zipped.getinfo(MANIFEST).file_size > MANIFEST_MOST_BYTES:
                raise damaged(self.path)
            given = json.loads(self.zipped.read(MANIFEST))
            if given["format"] != FORMAT:
                raise BackupRefused(f"{self.path} has the form {given['format']}: restore it with a newer release.")
            manifest = Manifest(**given)
            _require_members(manifest)
        except (*TORN, TypeError, ValueError) as error:
            raise damaged(self.path) from error
        return manifest

    def extract_to(self, folder: Path) -> None:
        """Write every member below the folder, flushed; what does not hash as the manifest says is refused."""
        for name, sha256 in self.manifest.files.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            with path.open("xb") as file:
                os.chmod(path, 0o600)
                try:
                    with self.zipped.open(name) as member:
                        found = _copied(member, file)
                except TORN as error:
                    raise damaged(self.path) from error
                file.flush()
                os.fsync(file.fileno())
            if found != sha256:
                raise damaged(self.path)


def _require_members(manifest: Manifest) -> None:
    """ValueError or TypeError when the manifest names what no backup holds, or lacks the database."""
    database = DATABASES[manifest.database]
    others = dict(manifest.files)
    del others[database]
    if not all(name == SECRET_KEY or STORED_FILE.fullmatch(name) for name in others):
        raise ValueError("a name that no backup holds")
    if not all(isinstance(name, str) for name in manifest.migrations):
        raise TypeError("migrations are names")


@contextmanager
def opened_archive(path: Path) -> Iterator[Archive]:
    """The archive at a path.

    Raises
    ------
    BackupRefused
        When it is incomplete, altered or something else.
    """
    try:
        zipped = zipfile.ZipFile(path)
    except OSError as error:
        raise BackupRefused(f"{path} cannot be read ({error.strerror}); mend the path.") from error
    except TORN as error:
        raise damaged(path) from error
    with zipped:
        yield Archive(path, zipped)


def damaged(path: Path) -> BackupRefused:
    """The one sentence for an archive that cannot be trusted."""
    return BackupRefused(f"{path} is no whole backup: it is incomplete, altered or something else. Take another one.")


def sync_folder(folder: Path) -> None:
    """Bring a folder's own entries to the disk."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)

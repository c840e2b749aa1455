"""`manage.py restore FILE`: a backup becomes a studio again, in an empty place, whole or not at all."""

from __future__ import annotations

import os
import shutil
import tempfile
from argparse import ArgumentParser
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, connection

from studio.config.archive import (
    DATABASES,
    SECRET_KEY,
    Archive,
    BackupRefused,
    Manifest,
    opened_archive,
    sync_folder,
)
from studio.config.database_copy import (
    SCRATCH,
    has_tables,
    load_database,
    require_database,
    require_sound,
)
from studio.config.supervisor import FolderLock, StartRefused
from studio.config.tables import unknown_migrations


class Command(BaseCommand):
    help = "Put a backup into an empty data folder, or an empty PostgreSQL database and an empty data folder."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="what `backup` wrote")
        parser.add_argument("--data", type=Path, help="a new folder for database, files and queue (.studio)")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            with FolderLock(settings.STUDIO_DATA), opened_archive(options["file"].absolute()) as archive:
                restore(archive)
        except (BackupRefused, StartRefused) as refusal:
            raise CommandError(str(refusal)) from None
        except (OSError, DatabaseError) as error:
            raise CommandError(f"The backup cannot be put back: {error}. Nothing was kept.") from error
        manifest = archive.manifest
        self.stdout.write(
            f"Restored the studio of {manifest.made_at} (release {manifest.release}). "
            "Start it: that brings its tables up to date."
        )


def restore(archive: Archive) -> None:
    """Check everything, unpack beside the place, then put files, key and, last of all, the database where they belong.

    A restore that was killed has left files at most, and they are the archive's: the next one goes over them.
    """
    data, manifest = Path(settings.STUDIO_DATA), archive.manifest
    require_fit(manifest)
    for leftover in data.glob(f"{SCRATCH}*"):
        shutil.rmtree(leftover)
    require_empty(data, manifest)
    with tempfile.TemporaryDirectory(dir=data, prefix=SCRATCH) as scratch:
        archive.extract_to(Path(scratch))
        dump = Path(scratch) / DATABASES[manifest.database]
        require_sound(dump)
        moved = [name for name in manifest.files if name != dump.name]
        try:
            put_all(moved, Path(scratch), data)
            load_database(dump)
        except BaseException:
            for name in moved:
                if name != SECRET_KEY:  # an empty place keeps a key, whichever
                    (data / name).unlink(missing_ok=True)
            raise


def require_fit(manifest: Manifest) -> None:
    """Refuse what this release, or this kind of database, cannot take."""
    if unknown := unknown_migrations(manifest.migrations):
        raise BackupRefused(
            f"This backup was made by release {manifest.release}, whose tables are newer than release "
            f"{settings.RELEASE} knows ({unknown[-1]}). Install that release or a newer one."
        )
    if manifest.database != connection.vendor:
        raise BackupRefused(
            f"This backup is of a studio on {manifest.database}, and here is {connection.vendor}. "
            "Restore it on the same kind of database (DATABASE_URL)."
        )


def require_empty(data: Path, manifest: Manifest) -> None:
    """Refuse a place that holds anything but what this very archive would put there."""
    require_database()
    files = (path.relative_to(data).as_posix() for path in Path(settings.FILES_FOLDER).rglob("*") if path.is_file())
    if has_tables() or any(name not in manifest.files for name in files):
        raise BackupRefused(
            f"There is a studio here already ({data}). A backup goes into an empty place: name a new folder with "
            "--data, and with PostgreSQL an empty database with DATABASE_URL."
        )


def put_all(names: Sequence[str], source: Path, target: Path) -> None:
    """Move files to their places; they and their folders are on the disk afterwards."""
    folders = {target}
    for name in names:
        place = target / name
        place.parent.mkdir(parents=True, exist_ok=True)
        os.replace(source / name, place)
        folders.update(parent for parent in place.parents if parent.is_relative_to(target))
    for folder in folders:
        sync_folder(folder)

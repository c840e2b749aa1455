"""`manage.py backup FILE`: all that the studio holds in one file, taken while it runs."""

from __future__ import annotations

import os
import tempfile
from argparse import ArgumentParser
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, connection

from studio.config.archive import (
    DATABASES,
    SECRET_KEY,
    STORED_FILE,
    BackupRefused,
    Manifest,
    sync_folder,
    write_archive,
)
from studio.config.database_copy import dump_database, require_database
from studio.config.tables import applied_migrations


class Command(BaseCommand):
    help = "Write database, stored files and secret key to one new file, while the studio runs."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="a file that does not exist yet, best on another disk")
        parser.add_argument("--data", type=Path, help="folder of database, files and queue (.studio)")

    def handle(self, *args: Any, **options: Any) -> None:
        target: Path = options["file"].absolute()
        try:
            manifest = back_up(target)
        except BackupRefused as refusal:
            raise CommandError(str(refusal)) from None
        except (OSError, DatabaseError) as error:
            raise CommandError(f"The backup {target} cannot be written: {error}. Nothing was kept.") from error
        for name, sha256 in manifest.files.items():
            if STORED_FILE.fullmatch(name) and not name.endswith(sha256):
                self.stderr.write(f"Damaged on the disk, and so in the backup: {name}. Look for it in an older backup.")
        self.stdout.write(
            f"Wrote {target}: the database and {len(manifest.files) - 1} files. Keep it elsewhere; "
            "it is as private as the studio itself."
        )


def back_up(target: Path) -> Manifest:
    """Write the archive. The database first: files are never changed and are named by their content, so one that
    comes later is one too many at worst, never one too few."""
    if target.exists():
        raise BackupRefused(f"{target} is there already; name a new file, so that no older backup is lost.")
    require_database()
    migrations = applied_migrations()
    if not migrations:
        raise BackupRefused(f"There is no studio in {settings.STUDIO_DATA}; name its folder with --data.")
    about = {
        "release": settings.RELEASE,
        "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
        "database": connection.vendor,
        "migrations": migrations,
    }
    with tempfile.TemporaryDirectory(dir=target.parent, prefix="unfinished-backup-") as scratch:
        dump, unfinished = Path(scratch) / DATABASES[connection.vendor], Path(scratch) / "archive"
        dump_database(dump)
        manifest = write_archive(unfinished, members={dump.name: dump, **kept_files()}, about=about)
        os.rename(unfinished, target)
    sync_folder(target.parent)
    return manifest


def kept_files() -> dict[str, Path]:
    """What lies beside the database, by its name in the archive; what is not whole yet has another kind of name."""
    data = Path(settings.STUDIO_DATA)
    stored = {path.relative_to(data).as_posix(): path for path in sorted(Path(settings.FILES_FOLDER).glob("*/*/*"))}
    kept = {name: path for name, path in stored.items() if STORED_FILE.fullmatch(name)}
    key = data / SECRET_KEY
    return kept | ({SECRET_KEY: key} if key.exists() and not settings.SECRET_KEY_GIVEN else {})

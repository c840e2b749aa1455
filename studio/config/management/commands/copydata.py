"""`manage.py copydata FOLDER`: a copy of the data folder that is whole, taken while the studio runs."""

from __future__ import annotations

import os
import shutil
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from studio.records.store import TORN

DATABASE_NAME = "studio.sqlite3"


class Command(BaseCommand):
    help = "Copies database, files and secret key to a new folder while the studio runs."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path, help="a folder that does not exist yet, or is empty")
        parser.add_argument("--data", type=Path, help="folder of database, files and queue (.studio)")

    def handle(self, *args: Any, **options: Any) -> None:
        target: Path = options["folder"].absolute()
        if connection.vendor != "sqlite":
            raise CommandError(
                "This studio keeps its records in PostgreSQL: copy them with pg_dump -Fc, and copy the files folder "
                f"{settings.FILES_FOLDER} after it."
            )
        if target.exists() and any(target.iterdir()):
            raise CommandError(f"{target} is not empty; name a new folder, so that no older copy is mixed in.")
        target.mkdir(parents=True, exist_ok=True)
        # The database first: files are never changed and named by their content, so a file that comes
        # later is one too many at worst, never one too few.
        with connection.cursor() as cursor:
            cursor.execute("VACUUM INTO %s", [str(target / DATABASE_NAME)])
        files = Path(settings.FILES_FOLDER)
        if files.exists():
            shutil.copytree(files, target / "files", ignore=shutil.ignore_patterns(f"{TORN}*"))
        key = Path(settings.STUDIO_DATA) / "secret_key"
        if key.exists():
            shutil.copy2(key, target / "secret_key")
        count = _flush(target)
        self.stdout.write(f"Copied {count} files to {target}. Open it with: manage.py runstudio --data {target}")


def _flush(folder: Path) -> int:
    """Bring every file and folder to the disk; how many files there are."""
    count = 0
    for place, _, names in os.walk(folder):
        for path in [*(Path(place) / name for name in names), Path(place)]:
            handle = os.open(path, os.O_RDONLY)
            os.fsync(handle)
            os.close(handle)
        count += len(names)
    return count

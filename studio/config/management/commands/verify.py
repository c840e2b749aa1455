"""`manage.py verify`: whether the studio's records and files are whole. Reads everything, changes nothing."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError
from django.utils import timezone

from studio.config.tables import pending_migrations
from studio.config.verification import findings


class Command(BaseCommand):
    help = "Check the trail, every stored file, jobs and orphans. A line for each finding; exit 1 where there is one."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--data", type=Path, help="folder of database, files and queue (.studio)")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            if pending_migrations():
                raise CommandError(
                    f"The tables in {settings.STUDIO_DATA} are missing or of another release; start the studio once."
                )
            count = 0
            for finding in findings(now=timezone.now()):
                self.stdout.write(finding)
                count += 1
        except DatabaseError as error:
            raise CommandError(f"The database cannot be read: {error}") from error
        if count:
            raise SystemExit(1)
        self.stdout.write("Everything is as it was kept.")

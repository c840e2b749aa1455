"""The first account of a studio. Everybody else is made by an owner, inside."""

from __future__ import annotations

import getpass
import os
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, transaction

from studio.config.tables import NewerTables, bring_up_to_date, unusable_database
from studio.records.errors import RecordsError
from studio.records.models import Role, Studio
from studio.records.services.people import account_create, studio_create

PASSWORD_VARIABLE = "OWNER_PASSWORD"  # noqa: S105 - the variable's name


class Command(BaseCommand):
    help = "Make an owner's account, and the studio where there is none yet. The password is asked for."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--username", help="asked for where it is not given")
        parser.add_argument(
            "--password-file", type=Path, help=f"a file with the password; else {PASSWORD_VARIABLE}, else asked for"
        )
        parser.add_argument("--email", default="")
        parser.add_argument("--studio", help="name of the studio; needed where there are several")
        parser.add_argument("--timezone", default="UTC", help="of a new studio, such as Atlantic/Azores (UTC)")
        parser.add_argument("--data", type=Path, help="folder of database, files and queue (.studio)")

    def handle(self, *args: Any, **options: Any) -> None:
        username = options["username"] or ask("Username of the owner: ")
        password = given_password(options["password_file"]) or asked_password()
        try:
            bring_up_to_date()
            self._make(username, password, options)
        except NewerTables as refusal:
            raise CommandError(str(refusal)) from None
        except RecordsError as refusal:
            raise CommandError(refusal.message) from None
        except DatabaseError as error:
            raise CommandError(unusable_database(error)) from error

    @transaction.atomic
    def _make(self, username: str, password: str, options: dict[str, Any]) -> None:
        studio = chosen_studio(options["studio"], options["timezone"])
        account_create(studio=studio, username=username, password=password, role=Role.OWNER, email=options["email"])
        self.stdout.write(f"{username} owns {studio.name} and can sign in now.")


def ask(question: str) -> str:
    """An answer from the terminal."""
    if not sys.stdin.isatty():
        raise CommandError(f"{question.rstrip(' :')} is missing and there is no terminal to ask: give --username.")
    return input(question).strip()


def given_password(file: Path | None) -> str | None:
    """The password from the file or the environment; never from the command line, which others can read."""
    if file is None:
        return os.environ.get(PASSWORD_VARIABLE)
    try:
        return file.read_text(encoding="utf-8").rstrip("\r\n")
    except (OSError, UnicodeDecodeError) as error:
        raise CommandError(f"--password-file {file} cannot be read as text ({error}); mend the path.") from None


def asked_password() -> str:
    """The password, typed twice without being shown."""
    if not sys.stdin.isatty():
        raise CommandError(
            f"The password is missing and there is no terminal to ask: give --password-file or {PASSWORD_VARIABLE}."
        )
    password = getpass.getpass("Password (10 characters or more): ")
    if password != getpass.getpass("The same again: "):
        raise CommandError("The two passwords differ; nothing was made.")
    return password


def chosen_studio(name: str | None, timezone: str) -> Studio:
    """The studio of that name, or the only one; a new one where there is none of it."""
    found = Studio.objects.filter(name=name) if name else Studio.objects.all()
    if len(found) > 1:
        raise CommandError("There are several studios here; say which with --studio NAME.")
    return found[0] if found else studio_create(name=name or "My studio", timezone=timezone)

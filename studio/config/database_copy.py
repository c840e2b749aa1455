"""The whole database into a file and back: SQLite by `VACUUM INTO`, PostgreSQL by `pg_dump` and `pg_restore`."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path

from django.db import DatabaseError, connection

from studio.config.archive import BackupRefused, sync_folder

SCRATCH = "restoring-"
"""How the name of a folder begins that a restore works in."""


def has_tables() -> bool:
    """Whether anything lies in the database."""
    return bool(connection.introspection.table_names())


def dump_database(target: Path) -> None:
    """Write the database as it is at one moment; others go on reading and writing."""
    if connection.vendor == "postgresql":
        _run("pg_dump", ["--format=custom", "--no-owner", "--no-privileges", f"--file={target}"])
        return
    # Not the library's backup call, which starts again at every foreign write; not a copy, which lacks the WAL.
    with connection.cursor() as cursor:
        cursor.execute("VACUUM INTO %s", [str(target)])


def require_sound(dump: Path) -> None:
    """Refuse a dump that its database cannot read."""
    if connection.vendor == "postgresql":
        _run("pg_restore", ["--list", str(dump)])
        return
    try:
        copy = sqlite3.connect(f"file:{dump}?mode=ro", uri=True)
        try:
            found = copy.execute("PRAGMA quick_check").fetchall()
        finally:
            copy.close()
    except sqlite3.DatabaseError as error:
        raise BackupRefused(f"The database in the backup cannot be read ({error}). Take another backup.") from error
    if found != [("ok",)]:
        raise BackupRefused("The database in the backup is damaged. Take another backup.")


def load_database(dump: Path) -> None:
    """Put a dump in the place of the empty database, all of it or nothing."""
    connection.close()
    if connection.vendor == "postgresql":
        name = str(connection.settings_dict["NAME"])
        whole = ["--single-transaction", "--exit-on-error", "--no-owner", "--no-privileges"]
        _run("pg_restore", [*whole, f"--dbname={name}", str(dump)])
        return
    place = Path(str(connection.settings_dict["NAME"]))
    with tempfile.TemporaryDirectory(dir=place.parent, prefix=SCRATCH) as scratch:
        staged = Path(scratch) / place.name
        shutil.copyfile(dump, staged)
        with staged.open("rb+") as file:
            os.fsync(file.fileno())
        for leftover in ("-wal", "-shm"):
            place.with_name(place.name + leftover).unlink(missing_ok=True)
        os.replace(staged, place)
    sync_folder(place.parent)


def _run(program: str, arguments: Sequence[str]) -> None:
    """Run one of PostgreSQL's client programs on the studio's database; the password is not among the arguments."""
    given = connection.settings_dict
    _, own = connection.client.settings_to_cmd_args_env(given, [])
    place = {"PGHOST": "HOST", "PGPORT": "PORT", "PGUSER": "USER", "PGDATABASE": "NAME"}
    environment = {**os.environ, **{key: str(given[name]) for key, name in place.items() if given[name]}, **(own or {})}
    try:
        subprocess.run([program, *arguments], env=environment, capture_output=True, text=True, check=True)
    except FileNotFoundError:
        raise BackupRefused(
            f"{program} is not installed: install PostgreSQL's client programs, of the server's version or newer."
        ) from None
    except subprocess.CalledProcessError as error:
        said = (error.stderr.strip().splitlines() or ["no reason given"])[0]
        raise BackupRefused(f"{program} refuses: {said}") from error


def require_database() -> None:
    """Refuse when the database does not answer."""
    try:
        connection.ensure_connection()
    except DatabaseError as error:
        raise BackupRefused(f"The database does not answer: {str(error).strip().splitlines()[0]}") from error

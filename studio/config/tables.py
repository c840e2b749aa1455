"""Whether the database has the tables that the code wants, and bringing it there."""

from __future__ import annotations

from collections.abc import Sequence

from django.conf import settings
from django.core.management import call_command
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder


class NewerTables(Exception):
    """The tables are a newer release's; the message says what to do."""


def pending_migrations() -> list[str]:
    """Names of the migrations that the code has and the database has not."""
    executor = MigrationExecutor(connection)
    plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
    return [f"{migration.app_label}.{migration.name}" for migration, _ in plan]


def applied_migrations() -> tuple[str, ...]:
    """What the database's tables are made of; nothing where there are no tables."""
    return tuple(sorted(f"{app}.{name}" for app, name in MigrationRecorder(connection).applied_migrations()))


def unknown_migrations(applied: Sequence[str]) -> list[str]:
    """Those that this release does not have: the tables are a newer release's."""
    disk = MigrationLoader(None).disk_migrations
    known = {*disk, *(old for migration in disk.values() for old in migration.replaces)}
    return sorted(set(applied) - {f"{app}.{name}" for app, name in known})


def refuse_newer_tables() -> None:
    """For every entry point before it touches a row: what a newer release wrote, this one would misread.

    Raises
    ------
    NewerTables
        When the database has migrations that this release does not know.
    """
    if unknown := unknown_migrations(applied_migrations()):
        raise NewerTables(
            f"The tables of this studio are newer than release {settings.RELEASE} knows ({unknown[-1]}). Start the "
            "release that made them or a newer one; or restore a backup of this release into an empty place."
        )


def newer_tables() -> str:
    """The same as a sentence, empty where all is well or the database does not answer: `/ready/` says that."""
    try:
        refuse_newer_tables()
    except NewerTables as refusal:
        return str(refusal)
    except DatabaseError:
        return ""
    finally:
        connection.close()  # whoever asks may fork next
    return ""


def bring_up_to_date() -> None:
    """Apply what is missing. System checks stay out: they load both doors and take longer than the rest."""
    refuse_newer_tables()
    if pending_migrations():
        call_command("migrate", verbosity=0, interactive=False, skip_checks=True)


def unusable_database(error: DatabaseError) -> str:
    """What to say, and to do, where a command cannot work with the database."""
    first = str(error).strip().splitlines()[0] if str(error).strip() else type(error).__name__
    if connection.vendor == "sqlite":
        return unusable_folder(first)
    return f"The database does not answer as it should: {first}. Start it, or mend DATABASE_URL and its password."


def unusable_folder(why: object) -> str:
    """The same of the data folder."""
    return (
        f"The data folder {settings.STUDIO_DATA} cannot be used: {why}. "
        "Make room or mend its rights, or name another folder with --data."
    )

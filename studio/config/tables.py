"""Whether the database has the tables that the code wants, and bringing it there."""

from __future__ import annotations

from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor


def pending_migrations() -> list[str]:
    """Names of the migrations that the code has and the database has not."""
    executor = MigrationExecutor(connection)
    plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
    return [f"{migration.app_label}.{migration.name}" for migration, _ in plan]


def bring_up_to_date() -> None:
    """Apply what is missing. System checks stay out: they load both doors and take longer than the rest."""
    if pending_migrations():
        call_command("migrate", verbosity=0, interactive=False, skip_checks=True)

"""What the database itself refuses, for both databases, as one step of a migration.

A later migration that alters a guarded table under SQLite rebuilds that table and thereby drops its triggers, and
fails where a trigger elsewhere names it: put `undo` of the guard before the change and the guard itself after it.
`tests/studio/records/test_guards.py` counts them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from django.apps.registry import Apps
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations import RunPython

Step = Callable[[Apps, BaseDatabaseSchemaEditor], None]
Statements = Mapping[str, Sequence[str]]


def guard(do: Statements, undo: Statements) -> RunPython:
    """Run the statements of the database at hand (`sqlite`, `postgresql`), and take them back on the way down."""
    return RunPython(_step(do), _step(undo))


def refuse_always(table: str, act: str, words: str) -> tuple[Statements, Statements]:
    """The statements that refuse an act (`update`, `delete`) on every row of a table, and those that undo it."""
    name = f"{table}_no_{act}"
    sqlite = f"CREATE TRIGGER {name} BEFORE {act.upper()} ON {table} BEGIN SELECT RAISE(ABORT, '{words}'); END"
    function = (
        f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"RAISE EXCEPTION USING MESSAGE = '{words}', ERRCODE = 'restrict_violation'; END $$"
    )
    trigger = f"CREATE TRIGGER {name} BEFORE {act.upper()} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()"
    do = {"sqlite": [sqlite], "postgresql": [function, trigger]}
    return do, {"sqlite": [f"DROP TRIGGER {name}"], "postgresql": [f"DROP FUNCTION {name}() CASCADE"]}


def _step(statements: Statements) -> Step:
    def run(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
        for statement in statements[schema_editor.connection.vendor]:
            schema_editor.execute(statement, params=None)

    return run

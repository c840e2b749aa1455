"""A setup that a run uses cannot change: not its row, not its slots, not its position, not what its items are."""

from django.db import migrations

from studio.records.triggers import guard

SETUP = "A run uses this setup, so it cannot change; make a new setup."
POSITION = "A run was ridden in this position, so it cannot change; make a new position."
ITEM = "A run was ridden with this item, so it stays the product that it was; make a new item."

RUN_OF_SETUP = "SELECT 1 FROM records_run WHERE setup_id = {row}"
RUN_OF_POSITION = "SELECT 1 FROM records_run r JOIN records_setup s ON s.id = r.setup_id WHERE s.position_id = OLD.id"
RUN_OF_ITEM = "SELECT 1 FROM records_run r JOIN records_setupitem x ON x.setup_id = r.setup_id WHERE x.item_id = OLD.id"
USED_OLD = RUN_OF_SETUP.format(row="OLD.setup_id")
USED_NEW = RUN_OF_SETUP.format(row="NEW.setup_id")


def sqlite_trigger(name: str, act: str, table: str, condition: str, words: str) -> str:
    return f"CREATE TRIGGER {name} BEFORE {act} ON {table} WHEN {condition} BEGIN SELECT RAISE(ABORT, '{words}'); END"


SQLITE = [
    sqlite_trigger("setup_frozen", "UPDATE", "records_setup", f"EXISTS ({RUN_OF_SETUP.format(row='OLD.id')})", SETUP),
    sqlite_trigger("slot_frozen_insert", "INSERT", "records_setupitem", f"EXISTS ({USED_NEW})", SETUP),
    sqlite_trigger(
        "slot_frozen_update", "UPDATE", "records_setupitem", f"EXISTS ({USED_OLD}) OR EXISTS ({USED_NEW})", SETUP
    ),
    sqlite_trigger("slot_frozen_delete", "DELETE", "records_setupitem", f"EXISTS ({USED_OLD})", SETUP),
    sqlite_trigger("position_frozen", "UPDATE", "records_position", f"EXISTS ({RUN_OF_POSITION})", POSITION),
    sqlite_trigger(
        "item_frozen",
        "UPDATE OF product_id",
        "records_equipmentitem",
        f"NEW.product_id <> OLD.product_id AND EXISTS ({RUN_OF_ITEM})",
        ITEM,
    ),
]
NAMES = [
    "setup_frozen",
    "slot_frozen_insert",
    "slot_frozen_update",
    "slot_frozen_delete",
    "position_frozen",
    "item_frozen",
]


def function(name: str, body: str) -> str:
    return f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ {body} $$"


def refuse_if(condition: str, words: str) -> str:
    refusal = f"RAISE EXCEPTION USING MESSAGE = '{words}', ERRCODE = 'restrict_violation'"
    return f"IF {condition} THEN {refusal}; END IF;"


# A run and a change of its setup may be written at the same moment. The run takes a shared lock on what it freezes;
# a change of setup, position or item locks its own row before its trigger looks, a change of slots locks the setup.
POSTGRESQL = [
    function(
        "setup_frozen",
        f"BEGIN {refuse_if('EXISTS (' + RUN_OF_SETUP.format(row='OLD.id') + ')', SETUP)} RETURN NEW; END",
    ),
    "CREATE TRIGGER setup_frozen BEFORE UPDATE ON records_setup FOR EACH ROW EXECUTE FUNCTION setup_frozen()",
    function(
        "slot_frozen",
        "BEGIN IF TG_OP <> 'INSERT' THEN "
        "PERFORM 1 FROM records_setup WHERE id = OLD.setup_id FOR NO KEY UPDATE; "
        f"{refuse_if(f'EXISTS ({USED_OLD})', SETUP)} END IF; "
        "IF TG_OP <> 'DELETE' THEN "
        "PERFORM 1 FROM records_setup WHERE id = NEW.setup_id FOR NO KEY UPDATE; "
        f"{refuse_if(f'EXISTS ({USED_NEW})', SETUP)} RETURN NEW; END IF; "
        "RETURN OLD; END",
    ),
    "CREATE TRIGGER slot_frozen BEFORE INSERT OR UPDATE OR DELETE ON records_setupitem "
    "FOR EACH ROW EXECUTE FUNCTION slot_frozen()",
    function("position_frozen", f"BEGIN {refuse_if(f'EXISTS ({RUN_OF_POSITION})', POSITION)} RETURN NEW; END"),
    "CREATE TRIGGER position_frozen BEFORE UPDATE ON records_position FOR EACH ROW EXECUTE FUNCTION position_frozen()",
    function(
        "item_frozen",
        f"BEGIN {refuse_if(f'NEW.product_id <> OLD.product_id AND EXISTS ({RUN_OF_ITEM})', ITEM)} RETURN NEW; END",
    ),
    "CREATE TRIGGER item_frozen BEFORE UPDATE OF product_id ON records_equipmentitem "
    "FOR EACH ROW EXECUTE FUNCTION item_frozen()",
    function(
        "run_holds_setup",
        "BEGIN PERFORM 1 FROM records_setup WHERE id = NEW.setup_id FOR SHARE; "
        "PERFORM 1 FROM records_position p JOIN records_setup s ON s.position_id = p.id "
        "WHERE s.id = NEW.setup_id FOR SHARE OF p; "
        "PERFORM 1 FROM records_equipmentitem i JOIN records_setupitem x ON x.item_id = i.id "
        "WHERE x.setup_id = NEW.setup_id FOR SHARE OF i; RETURN NEW; END",
    ),
    "CREATE TRIGGER run_holds_setup BEFORE INSERT OR UPDATE OF setup_id ON records_run "
    "FOR EACH ROW EXECUTE FUNCTION run_holds_setup()",
]
FUNCTIONS = ["setup_frozen", "slot_frozen", "position_frozen", "item_frozen", "run_holds_setup"]


class Migration(migrations.Migration):
    dependencies = [("records", "0001_records")]

    operations = [
        guard(
            {"sqlite": SQLITE, "postgresql": POSTGRESQL},
            {
                "sqlite": [f"DROP TRIGGER {name}" for name in NAMES],
                "postgresql": [f"DROP FUNCTION {name}() CASCADE" for name in FUNCTIONS],
            },
        )
    ]

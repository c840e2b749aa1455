"""What the database refuses by itself: raw SQL, no service and no form in between. Runs on whichever is configured."""

import threading

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction

from studio.records.models import Run, Setup
from tests.factories import (
    AnalysisFactory,
    EventFactory,
    PositionFactory,
    ProductFactory,
    ReportFactory,
    RunFactory,
    SetupFactory,
    SetupItemFactory,
)

pytestmark = pytest.mark.django_db
GUARDS = {
    "sqlite": {
        "setup_frozen",
        "slot_frozen_insert",
        "slot_frozen_update",
        "slot_frozen_delete",
        "position_frozen",
        "item_frozen",
    },
    "postgresql": {"setup_frozen", "slot_frozen", "position_frozen", "item_frozen", "run_holds_setup"},
}
ALWAYS = {
    "records_event_no_update",
    "records_event_no_delete",
    "results_analysis_no_update",
    "reports_report_no_update",
}
LISTED = {
    "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
    "postgresql": "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal",
}


def sql(statement, *values):
    with transaction.atomic(), connection.cursor() as cursor:
        plain = [value.hex if hasattr(value, "hex") and connection.vendor == "sqlite" else value for value in values]
        cursor.execute(statement, plain)


def guards():
    with connection.cursor() as cursor:
        cursor.execute(LISTED[connection.vendor])
        return {name for (name,) in cursor.fetchall()}


@pytest.fixture
def setup():
    setup = SetupFactory()
    setup.position = PositionFactory(bike=setup.bike)
    setup.save()
    SetupItemFactory(setup=setup)
    return setup


@pytest.fixture
def used(setup):
    RunFactory(setup=setup, session__bike=setup.bike, session__rider=setup.bike.rider)
    return setup


def test_every_guard_stands():
    assert guards() == GUARDS[connection.vendor] | ALWAYS


@pytest.mark.parametrize("column", ["label = 'other'", "bottles = 2", "tyre_pressure_kpa = '{}'", "position_id = NULL"])
def test_used_setup_cannot_change(used, column):
    with pytest.raises(IntegrityError, match="make a new setup"):
        sql(f"UPDATE records_setup SET {column} WHERE id = %s", used.pk)


def test_used_setup_gains_no_slot(used):
    with pytest.raises(IntegrityError, match="make a new setup"):
        SetupItemFactory(setup=used, slot="helmet")


def test_used_setup_loses_no_slot(used):
    with pytest.raises(IntegrityError, match="make a new setup"):
        sql("DELETE FROM records_setupitem WHERE setup_id = %s", used.pk)


def test_used_setup_swaps_no_item(used):
    with pytest.raises(IntegrityError, match="make a new setup"):
        sql("UPDATE records_setupitem SET slot = 'front_wheel' WHERE setup_id = %s", used.pk)


def test_no_slot_moves_to_a_used_setup(used):
    free = SetupItemFactory(slot="helmet")
    with pytest.raises(IntegrityError, match="make a new setup"):
        sql("UPDATE records_setupitem SET setup_id = %s WHERE id = %s", used.pk, free.pk)


def test_used_position_cannot_change(used):
    with pytest.raises(IntegrityError, match="make a new position"):
        sql("UPDATE records_position SET coordinates = '{}' WHERE id = %s", used.position_id)


def test_used_item_stays_its_product(used):
    item = used.slots.get().item
    with pytest.raises(IntegrityError, match="make a new item"):
        sql(
            "UPDATE records_equipmentitem SET product_id = %s WHERE id = %s",
            ProductFactory(studio=used.studio).pk,
            item.pk,
        )


def test_used_item_can_be_retired(used):
    item = used.slots.get().item
    sql("UPDATE records_equipmentitem SET retired_on = '2026-06-01' WHERE id = %s", item.pk)
    item.refresh_from_db()
    assert item.retired_on is not None


def test_free_setup_can_change(setup):
    sql("UPDATE records_setup SET bottles = 2 WHERE id = %s", setup.pk)
    sql("UPDATE records_position SET name = 'low' WHERE id = %s", setup.position_id)
    sql("DELETE FROM records_setupitem WHERE setup_id = %s", setup.pk)
    setup.refresh_from_db()
    assert (setup.bottles, setup.slots.count()) == (2, 0)


def test_setup_is_free_again_after_its_run_is_deleted(used):
    Run.objects.all().delete()
    sql("UPDATE records_setup SET bottles = 2 WHERE id = %s", used.pk)
    assert Setup.objects.get().bottles == 2


@pytest.mark.parametrize("act", ["UPDATE records_event SET verb = 'other'", "DELETE FROM records_event"])
def test_events_stay(act):
    EventFactory()
    with pytest.raises(IntegrityError, match="append-only"):
        sql(act)


def test_analyses_stay():
    AnalysisFactory()
    with pytest.raises(IntegrityError, match="make a new analysis"):
        sql("UPDATE results_analysis SET engine_version = '9'")


def test_reports_stay():
    ReportFactory()
    with pytest.raises(IntegrityError, match="make a new report"):
        sql("UPDATE reports_report SET wording = 'other'")


@pytest.mark.django_db(transaction=True)
def test_flush_passes_the_guards_and_leaves_them(used):
    EventFactory()
    call_command("flush", interactive=False, verbosity=0)
    assert not Setup.objects.exists()
    assert guards() == GUARDS[connection.vendor] | ALWAYS


@pytest.mark.django_db(transaction=True)
def test_guards_can_be_taken_back():
    try:
        call_command("migrate", "reports", "0001", verbosity=0)
        call_command("migrate", "results", "0001", verbosity=0)
        call_command("migrate", "records", "0001", verbosity=0)
        assert guards() == set()
    finally:
        call_command("migrate", verbosity=0)
    assert guards() == GUARDS[connection.vendor] | ALWAYS


@pytest.mark.server
@pytest.mark.django_db(transaction=True)
def test_a_change_waits_for_the_run_that_is_being_written(setup):
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL (DATABASE_URL): SQLite has one writer at a time")
    refusals = []

    def change():
        try:
            sql("UPDATE records_setup SET bottles = 2 WHERE id = %s", setup.pk)
        except IntegrityError as error:
            refusals.append(str(error))
        finally:
            connection.close()

    with transaction.atomic():
        RunFactory(setup=setup, session__bike=setup.bike, session__rider=setup.bike.rider)
        other = threading.Thread(target=change)
        other.start()
        other.join(timeout=0.5)
        assert other.is_alive()
    other.join(timeout=10)
    assert len(refusals) == 1

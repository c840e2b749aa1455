"""The trail: one chain for each studio, whole or said to be broken, and without a person's words in it."""

import threading

import pytest
from django.db import connection

from studio.records.models import Event, EventDetail
from studio.records.services import events
from studio.records.services.events import chain_faults, event_sha256, note_event, turn
from tests.factories import RiderFactory, StudioFactory

pytestmark = pytest.mark.django_db


def note(studio, **more):
    return note_event(studio=studio, by=None, verb="made", record=studio, **more)


def forge(event, **columns):
    """Write past the guard, as somebody with the database in their hands could; the test's rollback mends it."""
    for name, value in columns.items():
        setattr(event, name, value)
    postgresql = "SET CONSTRAINTS ALL IMMEDIATE; ALTER TABLE records_event DISABLE TRIGGER records_event_no_{}"
    past = {"sqlite": "DROP TRIGGER records_event_no_{}", "postgresql": postgresql}[connection.vendor]
    with connection.cursor() as cursor:
        cursor.execute(past.format("update" if columns else "delete"))
    if columns:
        event.save()
    else:
        event.delete()


def test_numbers_count_from_one_in_each_studio(studio):
    other = StudioFactory()
    assert [note(studio).number, note(studio).number, note(other).number] == [1, 2, 1]
    assert chain_faults(studio) == chain_faults(other) == []


def test_each_event_holds_the_hash_of_the_one_before(studio):
    first, second = note(studio), note(studio)
    assert (first.previous_sha256, second.previous_sha256) == ("", first.sha256)


@pytest.mark.parametrize(
    "columns", [{"verb": "deleted"}, {"actor_id": "01a2120a-61e4-7433-8086-216256e0697e"}, {"detail_sha256": "0" * 64}]
)
def test_a_changed_event_is_found(studio, columns):
    event = note(studio)
    note(studio)
    forge(event, **columns)
    assert "Event 1 was changed." in chain_faults(studio)


def test_a_changed_event_with_a_new_hash_is_found_by_the_next(studio):
    event = note(studio)
    note(studio)
    event.verb = "deleted"
    forge(event, verb="deleted", sha256=event_sha256(event))
    assert chain_faults(studio) == ["Event 2 does not follow event 1."]


def test_a_taken_out_event_is_found(studio):
    note(studio)
    event = note(studio)
    note(studio)
    forge(event)
    assert chain_faults(studio) == [
        "Between events 1 and 3 something is missing.",
        "Event 3 does not follow event 1.",
    ]


def test_words_lie_beside_the_chain(studio):
    event = note(studio, detail={"code": "R-CY"}, address="192.0.2.7")
    assert (event.detail.text, event.detail.address) == ({"code": "R-CY"}, "192.0.2.7")
    columns = [str(getattr(event, field.attname)) for field in Event._meta.concrete_fields]
    assert not any("R-CY" in column or "192.0.2.7" in column for column in columns)


def test_equal_words_have_unequal_hashes(studio):
    first, second = note(studio, detail={"code": "R-CY"}), note(studio, detail={"code": "R-CY"})
    assert first.detail_sha256 != second.detail_sha256


def test_changed_words_are_found(studio):
    note(studio, detail={"code": "R-CY"})
    EventDetail.objects.update(text={"code": "R-DEE"})
    assert chain_faults(studio) == ["The words of event 1 were changed."]


def test_emptied_words_leave_the_chain_whole(studio):
    note(studio, detail={"code": "R-CY"}, address="192.0.2.7")
    EventDetail.objects.update(salt="", text={}, address="")
    assert chain_faults(studio) == []


def test_an_event_without_words_has_no_side_row(studio):
    note(studio)
    assert not EventDetail.objects.exists()


def test_checking_the_chain_is_one_query(studio, django_assert_num_queries):
    for _ in range(5):
        note(studio, detail={"a": 1})
    with django_assert_num_queries(1):
        chain_faults(studio)


@pytest.mark.server
@pytest.mark.django_db(transaction=True)
def test_many_writers_make_one_chain():
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL (DATABASE_URL): the test's SQLite lies in memory and takes one writer")
    studio = StudioFactory()
    record = RiderFactory(studio=studio)
    failures = []

    def write():
        try:
            for _ in range(5):
                note_event(studio=studio, by=None, verb="changed", record=record)
        except Exception as error:
            failures.append(error)
        finally:
            connection.close()

    writers = [threading.Thread(target=write) for _ in range(4)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(timeout=60)
    assert failures == []
    assert Event.objects.filter(studio=studio).count() == 20
    assert chain_faults(studio) == []


@pytest.mark.django_db(transaction=True)
def test_threads_stand_in_line_to_write_to_sqlite(studio):
    with turn(studio):
        assert events._writers.locked() == (connection.vendor == "sqlite")
        with turn(studio):  # within its own turn nobody waits for themselves
            note_event(studio=studio, by=None, verb="made", record=studio)
    assert not events._writers.locked()

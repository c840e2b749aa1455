"""Correcting without lying: both values are kept, every act is an event, and the same day can take it back."""

from datetime import UTC, datetime

import pytest
import time_machine

from studio.records.errors import Conflict, Unusable
from studio.records.models import Correction, Event, FieldSession, Run
from studio.records.selectors.bundles import session_document
from studio.records.services.corrections import links_of
from studio.records.services.events import chain_faults
from studio.records.services.runs import run_create, run_delete, run_update
from studio.records.services.sessions import session_delete
from studio.records.services.undoing import correction_undo
from tests.factories import (
    CourseFactory,
    FieldSessionFactory,
    InstrumentFactory,
    RunFactory,
    SessionSetupFactory,
    SetupFactory,
)

pytestmark = pytest.mark.django_db
MORNING = datetime(2026, 5, 9, 9, tzinfo=UTC)


@pytest.fixture
def session(studio):
    return FieldSessionFactory(rider__studio=studio, title="two wheels")


@pytest.fixture
def setups(session):
    """A, the reference, and B."""
    links = [
        SessionSetupFactory(session=session, setup__label=label, order=order, reference=label == "A")
        for order, label in enumerate("AB")
    ]
    return {link.setup.label: link.setup for link in links}


@pytest.fixture
def run(session, setups):
    return RunFactory(session=session, setup=setups["A"], number=3)


def change(run, by=None, **changes):
    run = Run.objects.get(pk=run.pk)
    return run_update(record=run, by=by, version=run.version, changes=changes)


def undo(by=None):
    return correction_undo(correction=Correction.objects.first(), by=by)


def verbs():
    return [(event.verb, event.record_kind) for event in Event.objects.order_by("number")]


def test_leaving_out_keeps_the_reason_who_and_both_values(run, fitter_bo):
    change(run, fitter_bo, left_out="stopped at a gate")
    (kept,) = Correction.objects.all()
    assert (kept.kind, kept.reason, kept.made_by) == ("left_out", "stopped at a gate", fitter_bo)
    (step,) = kept.changes["runs"]
    assert (step["number"], step["before"], step["after"]) == (3, {"left_out": ""}, {"left_out": "stopped at a gate"})
    assert (kept.session_key, kept.session_name) == (run.session_id, "two wheels")


def test_each_act_and_its_undoing_is_an_event_of_one_chain(run, setups, studio, fitter_bo):
    change(run, fitter_bo, left_out="a gust")
    undo(fitter_bo)
    change(run, fitter_bo, setup=setups["B"])
    undo(fitter_bo)
    assert verbs() == [
        ("left_out", "run"),
        ("undone", "run"),
        ("undone", "correction"),
        ("reassigned", "run"),
        ("undone", "run"),
        ("undone", "correction"),
    ]
    assert chain_faults(studio) == []


def test_what_is_no_correction_leaves_no_memory(run):
    change(run, note="gusty")
    assert not Correction.objects.exists()
    assert verbs() == [("changed", "run")]


def test_a_left_out_run_counts_again_when_undone(run):
    change(run, left_out="a gust", note="at the gate")
    undone = undo()
    row = Run.objects.get()
    assert (row.left_out, row.note, row.version) == ("", "", 3)
    assert undone.undone_at is not None


def test_taking_in_and_reassigning_are_undone_too(run, setups):
    change(run, left_out="a gust")
    change(run, left_out="")
    assert Correction.objects.first().kind == "taken_in"
    undo()
    assert Run.objects.get().left_out == "a gust"
    change(run, setup=setups["B"])
    undo()
    assert Run.objects.get().setup == setups["A"]


def test_nothing_is_undone_twice(run):
    change(run, left_out="a gust")
    undo()
    with pytest.raises(Conflict, match="undone already"):
        undo()


def test_undoing_stops_where_somebody_built_on_it(run):
    change(run, left_out="a gust")
    change(run, left_out="a van passed")
    older = Correction.objects.last()
    with pytest.raises(Conflict, match="run 3, left_out is 'a van passed', allowed: as the correction left it"):
        correction_undo(correction=older, by=None)
    assert Run.objects.get().left_out == "a van passed"


def test_another_field_changed_since_stays_as_it_is(run):
    change(run, left_out="a gust")
    change(run, note="written by the other fitter")
    undo()
    row = Run.objects.get()
    assert (row.left_out, row.note) == ("", "written by the other fitter")


@pytest.mark.parametrize(
    ("hour", "allowed"),
    [(datetime(2026, 5, 10, 0, 59, tzinfo=UTC), True), (datetime(2026, 5, 10, 1, 1, tzinfo=UTC), False)],
)
def test_the_day_ends_at_the_studios_midnight(run, hour, allowed):
    """Not at Greenwich's: Cape Verde is an hour behind it all year (IANA time zone database)."""
    type(run.studio).objects.update(timezone="Atlantic/Cape_Verde")
    with time_machine.travel(MORNING, tick=False):
        change(run, left_out="a gust")
    with time_machine.travel(hour, tick=False):
        if allowed:
            undo()
        else:
            with pytest.raises(Conflict, match="This was done on 2026-05-09; undoing ends with that day"):
                undo()
    assert Run.objects.get().left_out == ("" if allowed else "a gust")


def test_a_deleted_run_comes_back_as_the_same_row(run, fitter_bo):
    facts = Run.objects.values().get()
    run_delete(record=run, by=fitter_bo, version=1)
    undo(fitter_bo)
    back = Run.objects.values().get()
    moved = {"version", "created_at", "updated_at"}
    assert {k: v for k, v in back.items() if k not in moved} == {k: v for k, v in facts.items() if k not in moved}
    assert back["version"] == 2  # the tag of the deleted row matches nothing
    assert verbs()[-2:] == [("restored", "run"), ("undone", "correction")]


def test_a_deleted_run_whose_number_is_taken_stays_away(run, setups, studio):
    run_delete(record=run, by=None, version=1)
    run_create(studio=studio, by=None, session=run.session, setup=setups["A"], number=3)
    with pytest.raises(Conflict, match="A run's number is used once in a session"):
        undo()
    assert Correction.objects.first().undone_at is None


def test_a_deleted_empty_session_comes_back_whole(session, setups):
    session.instruments.add(InstrumentFactory(studio=session.studio))
    facts, links, instruments = FieldSession.objects.values().get(), links_of(session), list(session.instruments.all())
    session_delete(record=FieldSession.objects.get(), by=None, version=1)
    assert not FieldSession.objects.exists()
    undo()
    back = FieldSession.objects.get()
    for name in ("pk", "title", "date", "weather", "rider_id", "bike_id", "course_id", "system_mass_kg"):
        assert getattr(back, name) == facts["id" if name == "pk" else name]
    assert (back.version, links_of(back), list(back.instruments.all())) == (2, links, instruments)


def test_a_session_whose_course_is_gone_stays_deleted(studio, fitter_bo):
    session = FieldSessionFactory(rider__studio=studio, course=CourseFactory(studio=studio))
    session_delete(record=session, by=fitter_bo, version=1)
    session.course.delete()
    with pytest.raises(Conflict, match="was deleted since"):
        undo()


def test_a_setup_that_is_gone_is_said(run, setups):
    change(run, setup=setups["B"])
    run.session.setup_links.filter(setup=setups["A"]).delete()
    setups["A"].delete()
    with pytest.raises(Conflict, match="was deleted since"):
        undo()


def test_forgetting_a_rider_takes_the_corrections_along(studio):
    session = FieldSessionFactory(rider__studio=studio)
    session_delete(record=session, by=None, version=1)
    session.bike.delete()
    session.rider.delete()
    assert not Correction.objects.exists()


def test_a_wrong_setup_of_another_bike_is_no_reassignment(run):
    with pytest.raises(Unusable, match="of another bike"):
        change(run, setup=SetupFactory(bike__rider=run.session.rider))
    assert not Correction.objects.exists()


def linked(session):
    """The labels that the session tests, the reference in brackets."""
    links = session.setup_links.select_related("setup").order_by("order")
    return [f"({link.setup.label})" if link.reference else link.setup.label for link in links]


def test_a_setup_that_lost_its_last_run_is_tested_no_longer(run, session, setups):
    RunFactory(session=session, setup=setups["B"], number=4)
    change(run, setup=setups["B"])
    assert linked(session) == ["(B)"]
    document = session_document(session)
    assert [(one["label"], one["reference"]) for one in document["setups"]] == [("B", True)]
    undo()
    assert linked(session) == ["(A)", "B"]


def test_a_setup_that_takes_the_last_run_takes_the_place_too(run, session, setups):
    RunFactory(session=session, setup=setups["B"], number=4)
    change(run, setup=SetupFactory(bike=session.bike, label="C"))
    assert linked(session) == ["(C)", "B"]
    undo()
    assert linked(session) == ["(A)", "B"]


def test_a_setup_keeps_its_place_while_a_run_is_left_even_one_that_does_not_count(run, session, setups):
    RunFactory(session=session, setup=setups["A"], number=4, left_out="a gust")
    change(run, setup=setups["B"])
    assert linked(session) == ["(A)", "B"]


def test_a_setup_that_waits_for_its_first_run_stays_planned(run, session, setups):
    SessionSetupFactory(session=session, setup__label="C", order=2)
    RunFactory(session=session, setup=setups["A"], number=4)
    change(run, setup=setups["B"])
    assert linked(session) == ["(A)", "B", "C"]


def test_undoing_takes_a_setup_out_that_only_came_in_by_mistake(run, session, setups):
    RunFactory(session=session, setup=setups["A"], number=4)
    change(run, setup=SetupFactory(bike=session.bike, label="C"))
    assert linked(session) == ["(A)", "B", "C"]
    undo()
    assert linked(session) == ["(A)", "B"]

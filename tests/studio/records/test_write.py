"""What holds for every record: made, changed under its version, deleted, each with its event."""

import pytest
from django.db import IntegrityError

from studio.records.errors import Conflict, StaleVersion, Unusable
from studio.records.models import Event
from studio.records.services import bikes, courses, equipment, instruments, people, runs, sessions, setups, write
from studio.records.services.events import chain_faults
from tests import factories as make

pytestmark = pytest.mark.django_db
KINDS = {
    "rider": (people.rider_update, people.rider_delete, make.RiderFactory, {"family_name": "Moe"}),
    "bike": (bikes.bike_update, bikes.bike_delete, make.BikeFactory, {"mass_kg": 8.0}),
    "position": (bikes.position_update, bikes.position_delete, make.PositionFactory, {"name": "low"}),
    "product": (equipment.product_update, equipment.product_delete, make.ProductFactory, {"maker": "Tarn"}),
    "item": (equipment.item_update, equipment.item_delete, make.EquipmentItemFactory, {"size": "M"}),
    "mounting": (equipment.mounting_update, equipment.mounting_delete, make.MountingFactory, {"slot": "rear_wheel"}),
    "setup": (setups.setup_update, setups.setup_delete, make.SetupFactory, {"bottles": 2}),
    "course": (courses.course_update, courses.course_delete, make.CourseFactory, {"surface": "rough"}),
    "instrument": (instruments.instrument_update, instruments.instrument_delete, make.InstrumentFactory, {"name": "X"}),
    "calibration": (
        instruments.calibration_update,
        instruments.calibration_delete,
        make.CalibrationFactory,
        {"result": "fails"},
    ),
    "session": (sessions.session_update, sessions.session_delete, make.FieldSessionFactory, {"note": "calm"}),
    "run": (runs.run_update, runs.run_delete, make.RunFactory, {"note": "gusty"}),
}


@pytest.fixture(params=KINDS)
def kind(request):
    return KINDS[request.param]


def test_change_counts_and_is_noted(kind):
    update, _, factory, changes = kind
    record = factory()
    changed = update(record=record, by=None, version=1, changes=changes)
    stored = type(record).objects.get(pk=record.pk)
    assert {name: getattr(stored, name) for name in changes} == changes
    assert (stored.version, changed.version) == (2, 2)
    event = Event.objects.get(studio=record.studio)
    assert (event.verb, event.record_id, event.detail.text) == ("changed", record.pk, {"fields": sorted(changes)})


def test_change_of_what_was_changed_is_stale(kind):
    update, _, factory, changes = kind
    record = factory()
    update(record=type(record).objects.get(pk=record.pk), by=None, version=1, changes=changes)
    with pytest.raises(StaleVersion, match="read it again"):
        update(record=record, by=None, version=1, changes=changes)
    assert Event.objects.count() == 1


def test_fields_that_stay_cannot_change(kind):
    update, _, factory, _ = kind
    with pytest.raises(Unusable, match="studio is .*allowed: one of") as refusal:
        update(record=factory(), by=None, version=1, changes={"studio": "x"})
    assert refusal.value.faults[0].key == "studio"


def test_delete_is_noted(kind):
    _, delete, factory, _ = kind
    record = factory()
    delete(record=record, by=None, version=1)
    assert not type(record).objects.filter(pk=record.pk).exists()
    assert Event.objects.get(studio=record.studio).verb == "deleted"


def test_delete_of_what_was_changed_is_stale(kind):
    _, delete, factory, _ = kind
    record = factory()
    with pytest.raises(StaleVersion, match="was changed or deleted"):
        delete(record=record, by=None, version=7)
    assert type(record).objects.filter(pk=record.pk).exists()


def test_refused_change_leaves_record_and_trail(studio):
    bike = make.BikeFactory(rider__studio=studio)
    with pytest.raises(Unusable, match="mass_kg is -1.0, allowed: A mass is above 0 kg"):
        bikes.bike_update(record=bike, by=None, version=1, changes={"mass_kg": -1.0})
    assert (bike.mass_kg, bike.version) == (8.9, 1)
    assert not Event.objects.exists()


def test_every_fault_is_listed(studio):
    rider = make.RiderFactory(studio=studio)
    with pytest.raises(Unusable, match="kind.*mass_kg|mass_kg.*kind") as refusal:
        bikes.bike_create(studio=studio, by=None, rider=rider, name="", kind="x" * 61, mass_kg="heavy")
    assert {fault.key for fault in refusal.value.faults} == {"name", "kind", "mass_kg"}


def test_missing_relation_is_named(studio):
    with pytest.raises(Unusable, match="rider is nothing, allowed: something"):
        bikes.bike_create(studio=studio, by=None, name="A")


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_no_number_is_no_mass(studio, value):
    with pytest.raises(Unusable, match="allowed: a finite number"):
        courses.course_create(studio=studio, by=None, kind="lap", length_m=value)


@pytest.mark.parametrize("text", ["a\0b", "\ud800"])
def test_text_that_no_database_holds(studio, text):
    with pytest.raises(Unusable, match="without NUL or half characters"):
        courses.course_create(studio=studio, by=None, kind="lap", marks=[{"name": text}])


def test_rows_of_another_studio_are_refused(studio):
    with pytest.raises(Unusable, match="allowed: a rider of this studio"):
        bikes.bike_create(studio=studio, by=None, name="A", rider=make.RiderFactory())


def test_people_of_another_studio_are_refused(studio, outsider_eve):
    session = make.FieldSessionFactory(rider__studio=studio)
    with pytest.raises(Unusable, match="allowed: a user of this studio"):
        sessions.session_update(record=session, by=None, version=1, changes={"fitter": outsider_eve})


def test_what_is_used_is_not_deleted():
    bike = make.BikeFactory()
    with pytest.raises(Conflict, match="in use by bikes"):
        people.rider_delete(record=bike.rider, by=None, version=1)
    assert not Event.objects.exists()


def test_what_only_the_database_saw_is_a_conflict(studio):
    with (
        pytest.raises(Conflict, match="at the same moment; read again"),
        write.change_of(studio),
    ):
        raise IntegrityError("UNIQUE constraint failed: records_rider.code")


def test_guards_of_the_database_are_said_in_words(studio):
    run = make.RunFactory(session__rider__studio=studio)
    with pytest.raises(Conflict, match="^A run uses this setup, so it cannot change; make a new setup.$"):
        write.update(run.setup, by=None, version=1, changes={"bottles": 3}, changeable=("bottles",))


def test_all_acts_make_one_chain(studio, fitter_bo):
    rider = people.rider_create(studio=studio, by=fitter_bo, code="R-1")
    people.rider_update(record=rider, by=fitter_bo, version=1, changes={"height_cm": 180})
    people.rider_delete(record=rider, by=fitter_bo, version=2)
    assert list(Event.objects.order_by("number").values_list("number", "verb")) == [
        (1, "made"),
        (2, "changed"),
        (3, "deleted"),
    ]
    assert chain_faults(studio) == []

"""Every rule that the database holds, by its name: the database refuses, and the services say it in words first."""

from datetime import date, timedelta

import pytest
from django.apps import apps
from django.db import IntegrityError, models, transaction

from studio.records.errors import Conflict, Unusable
from studio.records.models import KeptAnswer
from studio.records.services.checking import check
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db
CONSTRAINTS = {
    constraint.name: constraint
    for model in apps.get_app_config("records").get_models()
    for constraint in model._meta.constraints
}
LATER = NOON + timedelta(hours=1)


def second_rider():
    return make.RiderFactory.build(studio=make.RiderFactory(code="R-1").studio, code="R-1")


def second_consent():
    first = make.ConsentFactory()
    return make.ConsentFactory.build(rider=first.rider, studio=first.studio, entered_by=first.entered_by)


def second_serial():
    first = make.EquipmentItemFactory(serial="7")
    return make.EquipmentItemFactory.build(product=first.product, studio=first.studio, serial="7")


def second_mounting():
    first = make.MountingFactory()
    return make.MountingFactory.build(item=first.item, bike=first.bike, studio=first.studio, mounted_at=LATER)


def second_slot():
    first = make.SetupItemFactory()
    return make.SetupItemFactory.build(setup=first.setup, item=first.item)


def second_instrument():
    first = make.InstrumentFactory(serial="7")
    return make.InstrumentFactory.build(studio=first.studio, serial="7")


def fitters_rider():
    rider = make.RiderFactory()
    return make.InvitationFactory.build(studio=rider.studio, rider=rider)


def second_answer():
    facts = {"user": make.UserFactory(), "path": "/api/v1/riders/", "key": "k", "request_sha256": "a" * 64}
    facts |= {"status": 201, "headers": {"Location": "/"}, "created_at": NOON}
    KeptAnswer.objects.create(**facts)
    return KeptAnswer(**facts)


def like(factory, parents, **values):
    """A second row that shares its parents with a first one."""
    first = factory(**values)
    return factory.build(**{name: getattr(first, name) for name in parents}, **values)


def saved_parents(factory, **values):
    """A row whose parents are saved and which is not: the values are wrong."""
    right = factory()
    parents = {field.name: getattr(right, field.name) for field in right._meta.concrete_fields if field.is_relation}
    right.delete()
    return factory.build(**(parents | values))


BROKEN = {
    "membership_role_known": lambda: saved_parents(make.MembershipFactory, role="king"),
    "invitation_role_known": lambda: saved_parents(make.InvitationFactory, role="king"),
    "invitation_rider_is_a_clients": fitters_rider,
    "rider_code_once_per_studio": second_rider,
    "rider_height_plausible": lambda: saved_parents(make.RiderFactory, height_cm=1.79),
    "consent_one_open_per_purpose": second_consent,
    "consent_withdrawn_after_given": lambda: saved_parents(make.ConsentFactory, withdrawn_at=NOON - timedelta(days=1)),
    "bike_mass_positive": lambda: saved_parents(make.BikeFactory, mass_kg=0.0),
    "bike_circumference_positive": lambda: saved_parents(make.BikeFactory, wheel_circumference_m=-2.1),
    "bike_efficiency_is_a_share": lambda: saved_parents(make.BikeFactory, drivetrain_efficiency=97.5),
    "position_number_once_per_bike": lambda: like(make.PositionFactory, ["bike", "studio"], number=1),
    "product_name_once_per_category": lambda: like(make.ProductFactory, ["studio"], name="Tarn", category="wheels"),
    "product_price_has_currency": lambda: saved_parents(make.ProductFactory, list_price=100),
    "product_price_not_negative": lambda: saved_parents(make.ProductFactory, list_price=-1, currency="EUR"),
    "item_serial_once": second_serial,
    "item_retired_after_acquired": lambda: saved_parents(
        make.EquipmentItemFactory, acquired_on=date(2026, 2, 1), retired_on=date(2026, 1, 1)
    ),
    "mounting_on_bike_or_rider": lambda: saved_parents(make.MountingFactory, bike=None),
    "mounting_removed_after_mounted": lambda: saved_parents(make.MountingFactory, removed_at=NOON),
    "mounting_one_place_at_a_time": second_mounting,
    "setup_mass_positive": lambda: saved_parents(make.SetupFactory, system_mass_kg=0.0),
    "setup_slot_once": second_slot,
    "course_kind_known": lambda: saved_parents(make.CourseFactory, kind="hill"),
    "course_length_positive": lambda: saved_parents(make.CourseFactory, length_m=0.0),
    "instrument_kind_known": lambda: saved_parents(make.InstrumentFactory, kind="compass"),
    "instrument_once_per_studio": second_instrument,
    "calibration_due_after_done": lambda: saved_parents(make.CalibrationFactory, due_on=date(2026, 5, 1)),
    "session_bundle_once": lambda: like(
        make.FieldSessionFactory, ["rider", "bike", "course", "studio"], bundle_sha256="a" * 64
    ),
    "session_mass_positive": lambda: saved_parents(make.FieldSessionFactory, system_mass_kg=-80.0),
    "session_repeatability_whole": lambda: saved_parents(make.FieldSessionFactory, repeatability_sd_m2=0.001),
    "session_setup_once": lambda: like(make.SessionSetupFactory, ["session", "setup"]),
    "session_setup_order_once": lambda: like(make.SessionSetupFactory, ["session"], order=5, setup=make.SetupFactory()),
    "session_one_reference": lambda: like(
        make.SessionSetupFactory, ["session"], reference=True, setup=make.SetupFactory()
    ),
    "run_number_once_per_session": lambda: like(make.RunFactory, ["session", "setup", "recording", "studio"], number=1),
    "run_number_from_one": lambda: saved_parents(make.RunFactory, number=0),
    "run_ends_after_start": lambda: saved_parents(make.RunFactory, started_at=LATER, ended_at=NOON),
    "run_cut_by_lap_or_times": lambda: saved_parents(make.RunFactory, started_at=NOON, lap=1),
    "run_mass_positive": lambda: saved_parents(make.RunFactory, system_mass_kg=0.0),
    "mapping_once_per_device": lambda: like(make.DeviceMappingFactory, ["studio"], device_key="device-" + "0f" * 12),
    "recording_name_once_per_session": lambda: like(make.RecordingFactory, ["session", "studio"], filename="a.csv"),
    "kept_answer_once_per_key": second_answer,
    "recording_not_empty": lambda: saved_parents(make.RecordingFactory, size_bytes=0),
    "correction_kind_known": lambda: saved_parents(make.CorrectionFactory, kind="forgotten"),
    "event_number_once_per_studio": lambda: like(make.EventFactory, ["studio"], number=1),
}
BY_CHOICES = {
    "membership_role_known",
    "invitation_role_known",
    "course_kind_known",
    "instrument_kind_known",
    "correction_kind_known",
}  # refused as choices before


def test_every_constraint_is_broken_here():
    assert set(BROKEN) == set(CONSTRAINTS)


@pytest.mark.parametrize("name", BROKEN)
def test_the_database_refuses(name):
    row = BROKEN[name]()
    with pytest.raises(IntegrityError, match=r"(?i)constraint"), transaction.atomic():
        row.save(force_insert=True)


@pytest.mark.parametrize("name", [name for name in BROKEN if name != "event_number_once_per_studio"])
def test_the_services_say_it_in_words(name):
    row = BROKEN[name]()
    unique = isinstance(CONSTRAINTS[name], models.UniqueConstraint)
    words = "one of" if name in BY_CHOICES else str(CONSTRAINTS[name].violation_error_message)
    with pytest.raises(Conflict if unique else Unusable, match="cannot be kept|is there already") as refusal:
        check(row)
    assert any(words in fault.allowed for fault in refusal.value.faults)

"""Rows for tests, all of one studio: a child takes its studio from the parent that it hangs on.

`BikeFactory(rider=rider)`, or `BikeFactory(rider__studio=studio)` where the parent does not matter. Everything is
invented; nothing here goes through the services, so a test can lay down what no service would.
"""

import hashlib
from datetime import UTC, date, datetime, timedelta

import factory
from django.conf import settings
from factory.django import DjangoModelFactory
from uuid6 import uuid7

from analysis.results.models import (
    Acceptance,
    Analysis,
    Arm,
    ContributorKey,
    Edition,
    Job,
    LedgerEntry,
    Standings,
)
from reports.models import Report
from studio.records import models

PASSWORD = "four-plain-words-long"  # noqa: S105 - of invented people
NOON = datetime(2026, 5, 9, 12, tzinfo=UTC)


class StudioFactory(DjangoModelFactory):
    class Meta:
        model = models.Studio

    name = factory.Sequence(lambda n: f"Studio {n}")
    timezone = "Atlantic/Azores"


class UserFactory(DjangoModelFactory):
    class Meta:
        model = settings.AUTH_USER_MODEL
        skip_postgeneration_save = True

    username = factory.Sequence(lambda n: f"person-{n}")
    password = factory.django.Password(PASSWORD)


class MembershipFactory(DjangoModelFactory):
    class Meta:
        model = models.Membership

    studio = factory.SubFactory(StudioFactory)
    user = factory.SubFactory(UserFactory)
    role = models.Role.FITTER


class ApiTokenFactory(DjangoModelFactory):
    class Meta:
        model = models.ApiToken

    user = factory.SubFactory(UserFactory)
    sha256 = factory.Sequence(lambda n: hashlib.sha256(b"token %d" % n).hexdigest())
    expires_at = factory.LazyFunction(lambda: datetime.now(UTC) + timedelta(days=1))


class InvitationFactory(DjangoModelFactory):
    class Meta:
        model = models.Invitation

    studio = factory.SubFactory(StudioFactory)
    role = models.Role.FITTER
    sha256 = factory.Sequence(lambda n: hashlib.sha256(b"invitation %d" % n).hexdigest())
    expires_at = factory.LazyFunction(lambda: datetime.now(UTC) + timedelta(days=7))


class RiderFactory(DjangoModelFactory):
    class Meta:
        model = models.Rider

    studio = factory.SubFactory(StudioFactory)
    code = factory.Sequence(lambda n: f"R-{n:03d}")
    height_cm = 179.0


class ConsentFactory(DjangoModelFactory):
    class Meta:
        model = models.Consent

    rider = factory.SubFactory(RiderFactory)
    studio = factory.SelfAttribute("rider.studio")
    purpose = models.ConsentPurpose.RECORDS
    wording_version = "2026-01"
    given_at = NOON
    entered_by = factory.LazyAttribute(lambda row: MembershipFactory(studio=row.studio).user)


class BikeFactory(DjangoModelFactory):
    class Meta:
        model = models.Bike

    rider = factory.SubFactory(RiderFactory)
    studio = factory.SelfAttribute("rider.studio")
    name = factory.Sequence(lambda n: f"Bike {n}")
    kind = "time trial"
    mass_kg = 8.9
    wheel_circumference_m = 2.0986


class PositionFactory(DjangoModelFactory):
    class Meta:
        model = models.Position

    bike = factory.SubFactory(BikeFactory)
    studio = factory.SelfAttribute("bike.studio")
    number = factory.Sequence(lambda n: n + 1)
    coordinates = factory.LazyFunction(lambda: {"pad_stack_mm": 610.0})


class ProductFactory(DjangoModelFactory):
    class Meta:
        model = models.Product

    studio = factory.SubFactory(StudioFactory)
    category = "wheels"
    name = factory.Sequence(lambda n: f"Tarn {n}")


class EquipmentItemFactory(DjangoModelFactory):
    class Meta:
        model = models.EquipmentItem

    product = factory.SubFactory(ProductFactory)
    studio = factory.SelfAttribute("product.studio")


class MountingFactory(DjangoModelFactory):
    class Meta:
        model = models.Mounting

    bike = factory.SubFactory(BikeFactory)
    studio = factory.SelfAttribute("bike.studio")
    item = factory.SubFactory(EquipmentItemFactory, product__studio=factory.SelfAttribute("...studio"))
    slot = "wheels"
    mounted_at = NOON


class SetupFactory(DjangoModelFactory):
    class Meta:
        model = models.Setup

    bike = factory.SubFactory(BikeFactory)
    studio = factory.SelfAttribute("bike.studio")
    label = factory.Sequence(lambda n: f"S{n}")


class SetupItemFactory(DjangoModelFactory):
    class Meta:
        model = models.SetupItem

    setup = factory.SubFactory(SetupFactory)
    slot = "wheels"
    item = factory.SubFactory(EquipmentItemFactory, product__studio=factory.SelfAttribute("...setup.studio"))


class CourseFactory(DjangoModelFactory):
    class Meta:
        model = models.Course

    studio = factory.SubFactory(StudioFactory)
    kind = models.CourseKind.OUT_AND_BACK
    length_m = 1500.0
    bearing_deg = 60.0


class InstrumentFactory(DjangoModelFactory):
    class Meta:
        model = models.Instrument

    studio = factory.SubFactory(StudioFactory)
    kind = models.InstrumentKind.POWER_METER
    name = "Crank meter"
    serial = factory.Sequence(lambda n: f"PM-{n}")


class CalibrationFactory(DjangoModelFactory):
    class Meta:
        model = models.Calibration

    instrument = factory.SubFactory(InstrumentFactory)
    studio = factory.SelfAttribute("instrument.studio")
    done_on = date(2026, 5, 1)
    result = "within what is stated"


class FieldSessionFactory(DjangoModelFactory):
    class Meta:
        model = models.FieldSession

    rider = factory.SubFactory(RiderFactory)
    studio = factory.SelfAttribute("rider.studio")
    bike = factory.SubFactory(BikeFactory, rider=factory.SelfAttribute("..rider"))
    course = factory.SubFactory(CourseFactory, studio=factory.SelfAttribute("..studio"))
    title = factory.Sequence(lambda n: f"Test day {n}")
    date = date(2026, 5, 9)
    timezone = "Atlantic/Azores"


class SessionSetupFactory(DjangoModelFactory):
    class Meta:
        model = models.SessionSetup

    session = factory.SubFactory(FieldSessionFactory)
    setup = factory.SubFactory(SetupFactory, bike=factory.SelfAttribute("..session.bike"))
    order = factory.Sequence(lambda n: n % 1000)


class DeviceMappingFactory(DjangoModelFactory):
    class Meta:
        model = models.DeviceMapping

    studio = factory.SubFactory(StudioFactory)
    device_key = factory.Sequence(lambda n: f"device-{n:024x}")
    name = factory.Sequence(lambda n: f"Logger {n}")
    rules = factory.LazyFunction(lambda: {"Speed": "speed_mps*0.2777777777777778"})


class RecordingFactory(DjangoModelFactory):
    """The row only; no bytes lie in the file store unless the test keeps them."""

    class Meta:
        model = models.Recording

    session = factory.SubFactory(FieldSessionFactory)
    studio = factory.SelfAttribute("session.studio")
    filename = factory.Sequence(lambda n: f"run-{n:02d}.csv")
    sha256 = factory.LazyAttribute(lambda row: hashlib.sha256(row.filename.encode()).hexdigest())
    size_bytes = 1000


class RunFactory(DjangoModelFactory):
    class Meta:
        model = models.Run

    session = factory.SubFactory(FieldSessionFactory)
    studio = factory.SelfAttribute("session.studio")
    number = factory.Sequence(lambda n: n + 1)
    setup = factory.SubFactory(SetupFactory, bike=factory.SelfAttribute("..session.bike"))
    recording = factory.SubFactory(RecordingFactory, session=factory.SelfAttribute("..session"))


class CorrectionFactory(DjangoModelFactory):
    class Meta:
        model = models.Correction

    rider = factory.SubFactory(RiderFactory)
    studio = factory.SelfAttribute("rider.studio")
    kind = models.CorrectionKind.LEFT_OUT
    session_key = factory.LazyFunction(uuid7)
    session_name = factory.Sequence(lambda n: f"Test day {n}")
    reason = "stopped at a gate"
    changes = factory.LazyFunction(lambda: {"runs": []})


class EventFactory(DjangoModelFactory):
    """A row of the trail by itself: its hashes belong to no chain."""

    class Meta:
        model = models.Event

    studio = factory.SubFactory(StudioFactory)
    number = factory.Sequence(lambda n: n + 1)
    at = NOON
    verb = "made"
    record_kind = "rider"
    sha256 = "0" * 64


class JobFactory(DjangoModelFactory):
    class Meta:
        model = Job

    studio = factory.SubFactory(StudioFactory)
    kind = "analyse_session"


class AnalysisFactory(DjangoModelFactory):
    """An analysis with a result that says little: give `result=` where the figures matter."""

    class Meta:
        model = Analysis

    session = factory.SubFactory(FieldSessionFactory)
    studio = factory.SelfAttribute("session.studio")
    number = factory.Sequence(lambda n: n + 1)
    inputs_sha256 = factory.Sequence(lambda n: hashlib.sha256(b"inputs %d" % n).hexdigest())
    engine_version = "0"
    result = factory.LazyFunction(
        lambda: {
            "schema": "session-result/1",
            "engine": {"version": "0", "method": "joint"},
            "runs": [],
            "setups": [],
            "comparisons": [],
            "instruments": {},
            "budget": [],
            "warnings": [],
        }
    )


class AcceptanceFactory(DjangoModelFactory):
    class Meta:
        model = Acceptance

    analysis = factory.SubFactory(AnalysisFactory)
    session = factory.SelfAttribute("analysis.session")
    studio = factory.SelfAttribute("analysis.studio")
    accepted_at = NOON


class ArmFactory(DjangoModelFactory):
    class Meta:
        model = Arm

    analysis = factory.SubFactory(AnalysisFactory)
    session = factory.SelfAttribute("analysis.session")
    studio = factory.SelfAttribute("analysis.studio")
    rider = factory.SelfAttribute("session.rider")
    product = factory.SubFactory(ProductFactory, studio=factory.SelfAttribute("..studio"))
    category = factory.SelfAttribute("product.category")
    cda_m2 = 0.24
    se_m2 = 0.001
    bike_kind = "time trial"
    height_band = "170-185"
    yaw_band = "0-5"


class EditionFactory(DjangoModelFactory):
    class Meta:
        model = Edition

    studio = factory.SubFactory(StudioFactory)
    number = factory.Sequence(lambda n: n + 1)
    arms = 0
    evidence_sha256 = "0" * 64
    made_at = NOON


class StandingsFactory(DjangoModelFactory):
    """A category of which nothing is shown: give `products=` and `covariance=` where figures matter."""

    class Meta:
        model = Standings

    edition = factory.SubFactory(EditionFactory)
    studio = factory.SelfAttribute("edition.studio")
    category = factory.Sequence(lambda n: f"category {n}")
    figures = factory.LazyFunction(dict)
    products = factory.LazyFunction(list)
    covariance = b""
    contributors = b""


class ContributorKeyFactory(DjangoModelFactory):
    class Meta:
        model = ContributorKey

    rider = factory.SubFactory(RiderFactory)
    studio = factory.SelfAttribute("rider.studio")


class LedgerEntryFactory(DjangoModelFactory):
    class Meta:
        model = LedgerEntry

    studio = factory.SubFactory(StudioFactory)
    category = "wheels"
    figures = 1
    unknowns = b""
    weights = b""
    published_at = NOON


class ReportFactory(DjangoModelFactory):
    class Meta:
        model = Report

    analysis = factory.SubFactory(AnalysisFactory)
    studio = factory.SelfAttribute("analysis.studio")
    number = factory.Sequence(lambda n: n + 1)
    wording = "first"
    facts = factory.LazyFunction(dict)
    pdf = b"%PDF-1.7 not a real one"
    pdf_sha256 = factory.LazyAttribute(lambda row: hashlib.sha256(row.pdf).hexdigest())
    issued_at = NOON

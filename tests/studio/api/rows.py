"""One row of every route for a studio, and a body that makes another: what the tables of the API's tests walk over."""

from analysis.results.models import Job
from studio.records.models import Membership
from tests import factories

LISTED = (
    "riders",
    "bikes",
    "products",
    "equipment-items",
    "mountings",
    "positions",
    "setups",
    "courses",
    "instruments",
    "mappings",
    "calibrations",
    "sessions",
    "runs",
    "recordings",
    "corrections",
    "jobs",
    "analyses",
    "reports",
)
"""Every route with lists of a studio's rows."""

RECORDS = LISTED[: LISTED.index("recordings")]
"""Those that are made, changed and removed with a JSON body."""

SHARED = ("products", "courses", "instruments", "mappings", "calibrations", "corrections")
"""Rows that no single client owns."""


def make_rows(studio, user):
    """A row for each route, all hanging on one rider whose account is `user`; keyed by route."""
    rider = factories.RiderFactory(studio=studio, user=user)
    bike = factories.BikeFactory(rider=rider)
    product = factories.ProductFactory(studio=studio)
    item = factories.EquipmentItemFactory(product=product, rider=rider)
    session = factories.FieldSessionFactory(rider=rider, bike=bike)
    setup = factories.SetupFactory(bike=bike)
    recording = factories.RecordingFactory(session=session)
    analysis = factories.AnalysisFactory(session=session)
    instrument = factories.InstrumentFactory(studio=studio)
    return {
        "riders": rider,
        "bikes": bike,
        "products": product,
        "equipment-items": item,
        "mountings": factories.MountingFactory(bike=bike, item=item),
        "positions": factories.PositionFactory(bike=bike),
        "setups": setup,
        "courses": session.course,
        "mappings": factories.DeviceMappingFactory(studio=studio),
        "instruments": instrument,
        "calibrations": factories.CalibrationFactory(instrument=instrument),
        "corrections": factories.CorrectionFactory(rider=rider, session_key=session.pk),
        "sessions": session,
        "runs": factories.RunFactory(session=session, setup=setup, recording=recording),
        "recordings": recording,
        "jobs": factories.JobFactory(studio=studio, requested_by=user, session=session),
        "analyses": analysis,
        "reports": factories.ReportFactory(analysis=analysis),
    }


def make_people(studio, user):
    """A row for each route of people; `user` is the account where there is one."""
    membership = user.membership if user else factories.MembershipFactory(studio=studio)
    return {
        "users": membership.user,
        "memberships": membership,
        "invitations": factories.InvitationFactory(studio=studio),
        "consents": factories.ConsentFactory(rider=_rider_of(studio, user)),
    }


def _rider_of(studio, user):
    return getattr(user, "rider", None) or factories.RiderFactory(studio=studio, user=user)


def more_rows(route, rows, count):
    """`count` more rows of a route beside the one in `rows`."""
    bike, session = rows["bikes"], rows["sessions"]
    parents = {
        "riders": (factories.RiderFactory, {"studio": bike.studio}),
        "bikes": (factories.BikeFactory, {"rider": bike.rider}),
        "products": (factories.ProductFactory, {"studio": bike.studio}),
        "equipment-items": (factories.EquipmentItemFactory, {"product": rows["products"], "rider": bike.rider}),
        "mountings": (factories.MountingFactory, {"bike": bike, "slot": "other"}),
        "positions": (factories.PositionFactory, {"bike": bike}),
        "setups": (factories.SetupItemFactory, {"setup__bike": bike}),
        "courses": (factories.CourseFactory, {"studio": bike.studio}),
        "instruments": (factories.InstrumentFactory, {"studio": bike.studio}),
        "mappings": (factories.DeviceMappingFactory, {"studio": bike.studio}),
        "calibrations": (factories.CalibrationFactory, {"instrument": rows["instruments"]}),
        "corrections": (factories.CorrectionFactory, {"rider": bike.rider}),
        "sessions": (factories.SessionSetupFactory, {"session__rider": bike.rider, "session__bike": bike}),
        "runs": (factories.RunFactory, {"session": session, "setup": rows["setups"]}),
        "recordings": (factories.RecordingFactory, {"session": session}),
        "jobs": (factories.JobFactory, {"studio": bike.studio, "requested_by": bike.rider.user}),
        "analyses": (factories.AnalysisFactory, {"session": session}),
        "reports": (factories.ReportFactory, {"analysis": rows["analyses"]}),
    }
    factory, values = parents[route]
    factory.create_batch(count, **values)


def body_for(route, rows):
    """A body that makes another row of the route."""
    bike, session = str(rows["bikes"].pk), str(rows["sessions"].pk)
    rider, item = str(rows["riders"].pk), str(rows["equipment-items"].pk)
    bodies = {
        "riders": {"code": "R-777", "height_cm": 181.5, "contact": "by post"},
        "bikes": {"rider": rider, "name": "Second bike", "mass_kg": 8.1, "wheel_circumference_m": 2.0986},
        "products": {"category": "helmet", "name": "Orlo Vent", "list_price": "249.00", "currency": "EUR"},
        "equipment-items": {"product": str(rows["products"].pk), "rider": rider, "serial": "SN-1"},
        "mountings": {"item": item, "bike": bike, "slot": "wheels", "mounted_at": "2026-06-01T10:00:00Z"},
        "positions": {"bike": bike, "name": "low", "coordinates": {"pad_stack_mm": 600, "saddle_height_mm": 742}},
        "setups": {
            "bike": bike,
            "label": "B",
            "items": {"wheels": item},
            "tyre_pressure_kpa": {"front": 520, "rear": 540},
            "bottles": 1,
            "system_mass_kg": 82.0,
        },
        "courses": {"kind": "out_and_back", "length_m": 1500, "bearing_deg": 60, "name": "Pier road"},
        "instruments": {"kind": "scale", "name": "Hall scale", "serial": "7"},
        "mappings": {
            "device_key": "device-" + "0f" * 12,
            "name": "Hall logger",
            "fields": [{"field": "Speed", "channel": "speed_mps", "unit": "km/h"}],
        },
        "calibrations": {
            "instrument": str(rows["instruments"].pk),
            "done_on": "2026-05-01",
            "figure": 1.004,
            "figure_unit": "ratio to the reference weight",
            "result": "within what is stated",
            "due_on": "2027-05-01",
        },
        "sessions": {
            "rider": rider,
            "bike": bike,
            "course": str(rows["courses"].pk),
            "title": "lower pads",
            "date": "2026-05-09",
            "timezone": "Atlantic/Azores",
            "fitter": "Bo",
            "system_mass_kg": 82.0,
            "assumed": {"crr": 0.0042, "drivetrain_efficiency": 0.975},
            "repeatability": {"sd_m2": 0.0012, "df": 30},
            "weather": [{"time": "2026-05-09T08:00:00Z", "temperature_c": 18.0, "pressure_hpa": 1008}],
            "setups": [str(rows["setups"].pk)],
            "reference": str(rows["setups"].pk),
            "instruments": [str(rows["instruments"].pk)],
        },
        "runs": {
            "session": session,
            "setup": str(rows["setups"].pk),
            "recording": str(rows["recordings"].pk),
            "from": "2026-05-09T08:10:00Z",
            "to": "2026-05-09T08:15:10Z",
        },
    }
    return bodies[route]


def studio_of(person):
    return Membership.objects.get(user=person).studio


def jobs_of(studio):
    return Job.objects.filter(studio=studio)

"""A small invented bundle with something of everything, and how tests compare what became of it."""

import copy
import json

from analysis.readers.bundle import read_bundle
from studio.records.models import (
    Bike,
    Course,
    EquipmentItem,
    FieldSession,
    Position,
    Product,
    Recording,
    Rider,
    Run,
    Setup,
)
from studio.records.services.bundles import bundle_export

DOCUMENT = {
    "schema": "session-bundle/1",
    "weather_source": "own station",
    "session": {
        "title": "Étape d'essai",
        "date": "2026-05-09",
        "timezone": "Atlantic/Azores",
        "note": "calm until ten",
        "fitter": "Bo",
        "mood": "good",
    },
    "rider": {"code": "R-014", "height_cm": 179, "mass_kg": 72.4, "team": "none"},
    "bike": {
        "name": "Test bike",
        "kind": "time trial",
        "mass_kg": 8.9,
        "wheel_circumference_m": 2.0986,
        "colour": "red",
    },
    "system_mass_kg": 82.0,
    "course": {"kind": "out_and_back", "length_m": 1500, "bearing_deg": 60, "surface": "smooth asphalt"},
    "assumed": {"crr": 0.0042, "drivetrain_efficiency": 0.975},
    "smallest_difference_m2": 0.002,
    "repeatability": {"sd_m2": 0.0012, "df": 30},
    "weather": [{"time": "2026-05-09T07:00:00-01:00", "temperature_c": 18.0, "pressure_hpa": 1008, "sky": "clear"}],
    "setups": [
        {
            "label": "B",
            "items": {"helmet": "Orlo Vent", "wheels": "Tarn 50"},
            "position": {"pad_stack_mm": 600},
            "tyre_pressure_kpa": {"front": 520, "rear": 540},
            "clothing": "skin suit",
            "bottles": 1,
        },
        {"label": "A", "reference": True, "items": {"helmet": "Orlo Vent"}, "position": {"pad_stack_mm": 610}},
    ],
    "runs": [
        {
            "number": 2,
            "setup": "B",
            "recording": "day.csv",
            "from": "2026-05-09T08:10:00Z",
            "to": "2026-05-09T08:15:10.5Z",
        },
        {"number": 1, "setup": "A", "recording": "a.csv", "system_mass_kg": 82.5, "note": "gusty", "gate": "open"},
        {"number": 3, "setup": "A", "recording": "day.csv", "lap": 2, "left_out": "stopped at a gate"},
    ],
}
FILES = {"a.csv": b"time,power_w\n0,200\n", "day.csv": b"time,power_w\n0,210\n"}


def bundle_at(folder, document=DOCUMENT, files=FILES):
    folder.mkdir()
    (folder / "session.json").write_text(json.dumps(document), "utf-8")
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return read_bundle(folder)


def exported(session, folder):
    target = folder / "export.zip"
    bundle_export(session=session, target=target)
    return read_bundle(target)


def changed(path, value):
    document = copy.deepcopy(DOCUMENT)
    place = document
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    return document


def rows():
    models = (Bike, Course, EquipmentItem, FieldSession, Position, Product, Recording, Rider, Run, Setup)
    return {model.__name__: model.objects.count() for model in models}


def facts(session):
    """Every column of a session's records that is not an id or a time of writing."""
    skip = {"id", "studio", "version", "created_at", "updated_at", "bundle_sha256"}
    records = [session, session.rider, session.bike, session.course]
    records += [link.setup for link in session.setup_links.all()]
    records += [link.setup.position for link in session.setup_links.all()]
    records += [*session.runs.order_by("number"), *session.recordings.order_by("filename")]
    plain = [f for record in records for f in record._meta.concrete_fields if f.name not in skip and not f.is_relation]
    values = [
        (type(record).__name__, field.name, field.value_from_object(record))
        for record in records
        for field in record._meta.concrete_fields
        if field in plain
    ]
    slots = [
        (link.setup.label, link.reference, slot.slot, slot.item.product.name)
        for link in session.setup_links.all()
        for slot in link.setup.slots.all()
    ]
    runs = [(run.number, run.setup.label, run.recording.filename) for run in session.runs.order_by("number")]
    return values, slots, runs

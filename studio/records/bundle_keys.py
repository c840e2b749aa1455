"""Which key of a bundle is which field of which record: the one table that import and export share.

A place is where the key stands in `session.json`; the root's is empty. `OWN` keys are this house's additions to the
published ones: other programs may ignore them, and an entry of another type than ours is kept as unknown.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from django.db import models

from analysis.readers.schema import BUNDLE

Keys = Mapping[str, str]

RIDER: Keys = {"code": "code", "height_cm": "height_cm"}
BIKE: Keys = {
    "name": "name",
    "kind": "kind",
    "mass_kg": "mass_kg",
    "wheel_circumference_m": "wheel_circumference_m",
    "wheel_inertia_kg_m2": "wheel_inertia_kg_m2",
    "frame": "frame",
    "size": "size",
}
COURSE: Keys = {
    "kind": "kind",
    "length_m": "length_m",
    "bearing_deg": "bearing_deg",
    "name": "name",
    "surface": "surface",
    "marks": "marks",
}
SESSION: Mapping[str, Keys] = {
    "session": {"title": "title", "date": "date", "timezone": "timezone", "note": "note", "fitter": "fitter_name"},
    "rider": {"mass_kg": "rider_mass_kg"},
    "": {
        "system_mass_kg": "system_mass_kg",
        "smallest_difference_m2": "smallest_difference_m2",
        "weather": "weather",
    },
    "assumed": {"crr": "assumed_crr", "drivetrain_efficiency": "assumed_drivetrain_efficiency"},
    "repeatability": {"sd_m2": "repeatability_sd_m2", "df": "repeatability_df"},
}
SETUP: Keys = {
    "label": "label",
    "tyre_pressure_kpa": "tyre_pressure_kpa",
    "clothing": "clothing",
    "bottles": "bottles",
    "system_mass_kg": "system_mass_kg",
}
RUN: Keys = {
    "number": "number",
    "from": "started_at",
    "to": "ended_at",
    "lap": "lap",
    "system_mass_kg": "system_mass_kg",
    "left_out": "left_out",
    "note": "note",
}
OWN: Mapping[str, frozenset[str]] = {
    "bike": frozenset({"frame", "size"}),
    "course": frozenset({"name", "surface", "marks"}),
    "runs": frozenset({"note"}),
}
RECORDS: Mapping[str, Mapping[str, Keys]] = {
    "Rider": {"rider": RIDER},
    "Bike": {"bike": BIKE, "assumed": {"drivetrain_efficiency": "drivetrain_efficiency"}},
    "Course": {"course": COURSE},
    "FieldSession": SESSION,
    "Position": {"setups[]": {"position": "coordinates"}},
    "Setup": {"setups[]": SETUP},
    "Run": {"runs[]": RUN},
}
"""Where the fields of each record stand in a bundle."""


def place_of(kind: str, entry: Mapping[str, Any]) -> str:
    """Name the place of an entry of `setups` by its label, of one of `runs` by its number."""
    return f"setups.{entry['label']}" if kind == "setups" else f"runs.{int(entry['number'])}"


def places(document: Mapping[str, Any]) -> Iterator[tuple[str, str, Mapping[str, Any], Mapping[str, Any]]]:
    """Every place of a document that may hold unknown keys: its kind, its name, its schema and its entries."""
    properties = BUNDLE["properties"]
    yield "", "", properties, document
    for kind in ("session", "rider", "bike", "course", "assumed", "repeatability"):
        yield kind, kind, properties[kind]["properties"], document.get(kind) or {}
    for kind in ("setups", "runs"):
        for entry in document.get(kind) or ():
            yield kind, place_of(kind, entry), properties[kind]["items"]["properties"], entry


def unknown_of(document: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """What a bundle says that no record holds, by its place."""
    found = {
        name: {key: value for key, value in entries.items() if key not in known and not _is_own(kind, key, value)}
        for kind, name, known, entries in places(document)
    }
    return {name: entries for name, entries in found.items() if entries}


def values_of(kind: str, entries: Mapping[str, Any], keys: Keys, model: type[models.Model]) -> dict[str, Any]:
    """The fields that a bundle's entries fill; what is not given gets the field's empty value."""
    values = {}
    for key, name in keys.items():
        given = entries.get(key)
        if given is not None and key in OWN.get(kind, ()) and not _is_own(kind, key, given):
            given = None
        values[name] = _empty(model, name) if given is None else given
    return values


def _is_own(kind: str, key: str, value: object) -> bool:
    return key in OWN.get(kind, ()) and isinstance(value, list if key == "marks" else str)


def _empty(model: type[models.Model], name: str) -> object:
    field = model._meta.get_field(name)
    assert isinstance(field, models.Field)
    return field.get_default()

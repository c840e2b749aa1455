"""Bundles in and out. What a bundle may be is the readers' business; here it becomes records, whole or not at all."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import UTC
from pathlib import Path
from typing import IO, Any

from analysis.readers.archive import DOCUMENT, canonical
from analysis.readers.bundle import Bundle, write_bundle
from analysis.readers.faults import Fault, shown
from analysis.readers.times import parse_time
from studio.records import bundle_keys
from studio.records.bundle_keys import BIKE, COURSE, RIDER, RUN, SESSION, SETUP, values_of
from studio.records.errors import Unusable
from studio.records.models import (
    Bike,
    Course,
    EquipmentItem,
    FieldSession,
    Position,
    Product,
    Rider,
    Run,
    Setup,
    Studio,
    User,
)
from studio.records.selectors.bundles import fingerprint, session_document, session_files, session_of_bundle
from studio.records.services import write
from studio.records.services.bikes import bike_create, position_create
from studio.records.services.courses import course_create
from studio.records.services.equipment import product_create, stock_piece
from studio.records.services.events import note_event
from studio.records.services.people import rider_create, rider_update
from studio.records.services.recordings import recording_enter
from studio.records.services.runs import run_create
from studio.records.services.sessions import session_create
from studio.records.services.setups import setup_create
from studio.records.store import StoredFile, keep_file

CHUNK_BYTES = 1024 * 1024
Document = Mapping[str, Any]


def bundle_import(*, studio: Studio, bundle: Bundle, by: User | None) -> FieldSession:
    """Enter a bundle as a session; the same bundle again is the same session.

    Raises `Unusable` with every fault, and then nothing was written. The files are on the disk before the rows that
    name them.
    """
    document = bundle.document
    sha256 = fingerprint(document, bundle.sha256)
    known = session_of_bundle(studio, document, sha256)
    if known is not None:
        return known
    faults = _height_faults(studio, document)
    if faults:
        raise Unusable("\n".join(fault.sentence() for fault in faults), faults=tuple(faults))
    stored = {canonical(name): _kept(studio, content) for name, content in bundle.files.items()}
    with write.change_of(studio):
        known = session_of_bundle(studio, document, sha256)  # another import may have come first
        return known or _enter(studio, by, document, sha256, stored)


def bundle_export(*, session: FieldSession, target: Path | IO[bytes], by: User | None = None) -> None:
    """Write a session as a zip from which an import makes the same records."""
    write_bundle(session_document(session, complete=True), session_files(session), target)
    note_event(studio=session.studio, by=by, verb="exported", record=session)


def _kept(studio: Studio, content: bytes | Path) -> StoredFile:
    return keep_file(studio_id=studio.pk, chunks=_chunks(content))


def _chunks(content: bytes | Path) -> Iterator[bytes]:
    if isinstance(content, bytes):
        yield content
        return
    with content.open("rb") as stream:
        while chunk := stream.read(CHUNK_BYTES):
            yield chunk


def _height_faults(studio: Studio, document: Document) -> list[Fault]:
    code, height = document["rider"]["code"], document["rider"].get("height_cm")
    rider = Rider.objects.filter(studio=studio, code=code).first()
    if rider is None or rider.height_cm is None or height is None or rider.height_cm == height:
        return []
    allowed = f"{rider.height_cm:g}, as rider {code} has here; another person needs another code"
    return [Fault(DOCUMENT, "rider.height_cm", shown(height), allowed)]


def _enter(
    studio: Studio, by: User | None, document: Document, sha256: str, stored: Mapping[str, StoredFile]
) -> FieldSession:
    faults = _height_faults(studio, document)  # again, in the studio's turn
    if faults:
        raise Unusable(faults[0].sentence(), faults=tuple(faults))
    rider = _rider(studio, by, document["rider"])
    bike = _bike(studio, by, document["bike"], rider)
    setups = {entry["label"]: _setup(studio, by, entry, bike) for entry in document["setups"]}
    reference = next((entry["label"] for entry in document["setups"] if entry.get("reference")), next(iter(setups)))
    session = session_create(
        studio=studio,
        by=by,
        rider=rider,
        bike=bike,
        course=_course(studio, by, document["course"]),
        setups=list(setups.values()),
        reference=setups[reference],
        unknown=bundle_keys.unknown_of(document),
        bundle_sha256=sha256,
        **_session_values(document),
    )
    recordings = {
        name: recording_enter(session=session, filename=name, stored=file, by=by) for name, file in stored.items()
    }
    for entry in document["runs"]:
        recording = recordings[canonical(entry["recording"])]
        setup = setups[entry["setup"]]
        run_create(studio=studio, by=by, session=session, setup=setup, recording=recording, **_run_values(entry))
    note_event(studio=studio, by=by, verb="imported", record=session)
    return session


def _session_values(document: Document) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for place, keys in SESSION.items():
        entries = document if place == "" else document.get(place) or {}
        values |= values_of(place, entries, keys, FieldSession)
    return values


def _run_values(entry: Document) -> dict[str, Any]:
    values = values_of("runs", entry, RUN, Run)
    for name in ("started_at", "ended_at"):
        if values[name] is not None:
            values[name] = parse_time(values[name], UTC)[0]
    return values


def _rider(studio: Studio, by: User | None, entry: Document) -> Rider:
    values = values_of("rider", entry, RIDER, Rider)
    rider = Rider.objects.filter(studio=studio, code=values["code"]).first()
    if rider is None:
        return rider_create(studio=studio, by=by, **values)
    if rider.height_cm is None and values["height_cm"] is not None:
        changes = {"height_cm": values["height_cm"]}
        return rider_update(record=rider, by=by, version=rider.version, changes=changes)
    return rider


def _bike(studio: Studio, by: User | None, entry: Document, rider: Rider) -> Bike:
    values = values_of("bike", entry, BIKE, Bike)
    bike = Bike.objects.filter(studio=studio, rider=rider, **values).order_by("id").first()
    return bike or bike_create(studio=studio, by=by, rider=rider, **values)


def _course(studio: Studio, by: User | None, entry: Document) -> Course:
    values = values_of("course", entry, COURSE, Course)
    course = Course.objects.filter(studio=studio, **values).order_by("id").first()
    return course or course_create(studio=studio, by=by, **values)


def _setup(studio: Studio, by: User | None, entry: Document, bike: Bike) -> Setup:
    items = {slot: _item(studio, by, slot, name) for slot, name in _given(entry.get("items")).items()}
    coordinates = _given(entry.get("position"))
    position = _position(studio, by, bike, coordinates) if coordinates else None
    values = values_of("setups", entry, SETUP, Setup)
    values["tyre_pressure_kpa"] = _given(values["tyre_pressure_kpa"])
    return setup_create(studio=studio, by=by, bike=bike, position=position, items=items, **values)


def _given(entries: Document | None) -> dict[str, Any]:
    """What is neither null nor empty: spreadsheets write both for nothing."""
    return {key: value for key, value in (entries or {}).items() if value not in (None, "")}


def _position(studio: Studio, by: User | None, bike: Bike, coordinates: dict[str, Any]) -> Position:
    same = (one for one in Position.objects.filter(bike=bike).order_by("number") if one.coordinates == coordinates)
    return next(same, None) or position_create(studio=studio, by=by, bike=bike, coordinates=coordinates)


def _item(studio: Studio, by: User | None, slot: str, name: str) -> EquipmentItem:
    """The studio's own piece of the product, which is matched by slot and exact name."""
    product = Product.objects.filter(studio=studio, category=slot, name=name).first()
    product = product or product_create(studio=studio, by=by, category=slot, name=name)
    return stock_piece(product=product, by=by)

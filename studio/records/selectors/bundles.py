"""A session as the bundle that it would be, and which session a bundle is."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from django.db.models import Prefetch

from analysis.readers.archive import canonical
from analysis.readers.document import normalised
from studio.records import bundle_keys
from studio.records.bundle_keys import BIKE, COURSE, OWN, RIDER, RUN, SESSION, SETUP, Keys
from studio.records.errors import Unusable, fault, sentence
from studio.records.models import FieldSession, Run, SessionSetup, SetupItem, Studio
from studio.records.store import file_path


def session_document(session: FieldSession, *, complete: bool = False) -> dict[str, Any]:
    """Write a session as a bundle's document, with what the bundle it came from said that no record holds.

    `complete` adds the keys of this house's own (`bundle_keys.OWN`) and keeps the order of the setups, which an export
    needs. Without it the document is in the form in which two of them are compared: equal facts, equal document.
    A run that was left out and never recorded has no place in a bundle. Raises `Unusable` where a run that counts has
    no recording, or the session no run.
    """
    links = _links(session)
    runs = _runs(session)
    document: dict[str, Any] = {"schema": "session-bundle/1"}
    for place, keys in SESSION.items():
        (document if place == "" else document.setdefault(place, {})).update(_entries(session, keys))
    if "fitter" not in document["session"] and session.fitter is not None:
        document["session"]["fitter"] = session.fitter.get_full_name() or session.fitter.username
    document["rider"].update(_entries(session.rider, RIDER))
    document["bike"] = _entries(session.bike, BIKE, without=() if complete else OWN["bike"])
    document["course"] = _entries(session.course, COURSE, without=() if complete else OWN["course"])
    if "drivetrain_efficiency" not in document["assumed"] and session.bike.drivetrain_efficiency is not None:
        document["assumed"]["drivetrain_efficiency"] = session.bike.drivetrain_efficiency
    document["setups"] = [_setup(link, reference=link == _reference(links)) for link in links]
    document["runs"] = [_run(run, complete=complete) for run in runs]
    _give_back(document, session.unknown)
    whole = {key: value for key, value in document.items() if value != {}}
    return whole if complete else normalised(whole)


def session_files(session: FieldSession) -> dict[str, Path]:
    """The uploaded files of a session by the names that its runs use."""
    recordings = session.recordings.order_by("filename")
    return {one.filename: file_path(studio_id=session.studio_id, sha256=one.sha256) for one in recordings}


def fingerprint(document: Mapping[str, Any], sums: Mapping[str, str]) -> str:
    """The hash of what a bundle says and of the recordings that its runs name (`sums`: their SHA-256 by name)."""
    plain = normalised(document)
    named = {canonical(name): sha256 for name, sha256 in sums.items()}
    for run in plain["runs"]:
        run["recording"] = [canonical(run["recording"]), named.get(canonical(run["recording"]))]
    text = json.dumps(plain, sort_keys=True, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def session_fingerprint(session: FieldSession) -> str | None:
    """The fingerprint of the bundle that the session would be now; None where it would be none yet."""
    try:
        document = session_document(session, complete=True)
    except Unusable:
        return None
    return fingerprint(document, dict(session.recordings.values_list("filename", "sha256")))


def session_of_bundle(studio: Studio, document: Mapping[str, Any], sha256: str) -> FieldSession | None:
    """The session that a bundle is already: it came from this bundle, or it would be this bundle now."""
    sessions = FieldSession.objects.filter(studio=studio).select_related("rider", "bike", "course", "studio", "fitter")
    came = sessions.filter(bundle_sha256=sha256).first()
    if came is not None:
        return came
    day = date.fromisoformat(document["session"]["date"])
    candidates = sessions.filter(rider__code=document["rider"]["code"], date=day)
    return next((session for session in candidates if session_fingerprint(session) == sha256), None)


def _links(session: FieldSession) -> list[SessionSetup]:
    slots = Prefetch("setup__slots", SetupItem.objects.select_related("item__product"))
    links = session.setup_links.select_related("setup__position").prefetch_related(slots)
    return list(links)


def _reference(links: list[SessionSetup]) -> SessionSetup | None:
    return next((link for link in links if link.reference), links[0] if links else None)


def _runs(session: FieldSession) -> list[Run]:
    runs = list(session.runs.select_related("setup", "recording").order_by("number"))
    faults = [
        fault(f"run {run.number}", "without a recording", "a recording, or the reason why it is left out")
        for run in runs
        if run.recording is None and not run.left_out
    ]
    if not runs:
        faults.append(fault("runs", "none", "at least one run"))
    if faults:
        raise Unusable(sentence("The session is not complete", faults), faults=tuple(faults))
    return [run for run in runs if run.recording is not None]


def _entries(record: object, keys: Keys, *, without: Iterable[str] = ()) -> dict[str, Any]:
    entries = {key: _plain(getattr(record, name)) for key, name in keys.items() if key not in without}
    return {key: value for key, value in entries.items() if value is not None and value not in ("", [], {})}


def _plain(value: object) -> object:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    return value.isoformat() if isinstance(value, date) else value


def _setup(link: SessionSetup, *, reference: bool) -> dict[str, Any]:
    setup = link.setup
    entry = {**_entries(setup, SETUP), "reference": reference}
    items = {slot.slot: slot.item.product.name for slot in setup.slots.all()}
    if items:
        entry["items"] = items
    if setup.position is not None and setup.position.coordinates:
        entry["position"] = setup.position.coordinates
    return entry


def _run(run: Run, *, complete: bool) -> dict[str, Any]:
    assert run.recording is not None
    entries = _entries(run, RUN, without=() if complete else OWN["runs"])
    return {**entries, "setup": run.setup.label, "recording": run.recording.filename}


def _give_back(document: dict[str, Any], unknown: Mapping[str, Mapping[str, Any]]) -> None:
    """Put what nobody knows back to its place; what the records say comes first."""
    targets = {name: entries for _, name, _, entries in bundle_keys.places(document)}
    for place, entries in unknown.items():
        target = document.setdefault(place, {}) if place in ("assumed", "repeatability") else targets.get(place)
        for key, value in entries.items():
            if isinstance(target, dict):
                target.setdefault(key, value)

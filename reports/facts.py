"""The freezing: everything a report prints, read once and kept as plain JSON.

The last place that reads the database. Nothing here decides how a fact is said (`wording.py`, `numerals.py`) or where
it stands (`sections.py`). Health notes, contact and the session's free note stay out: a report is handed around.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from analysis.results.models import Analysis
from reports.canonical import canonical, fingerprint
from reports.equipment import equipment
from reports.numerals import RULE
from reports.wording import WORDING
from studio.records.models import FieldSession, Instrument, Rider, Run, SessionSetup, Setup, User

SCHEMA = "report-facts/1"


def freeze(*, analysis: Analysis, number: int, issued_by: User | None, issued_at: datetime) -> dict[str, Any]:
    """All facts of a report on an analysis; the stored result goes in as it stands, number for number."""
    session = analysis.session
    zone = ZoneInfo(session.timezone)
    runs = list(session.runs.select_related("setup", "recording").order_by("number"))
    facts = {
        "schema": SCHEMA,
        "wording": WORDING,
        "rounding": RULE,
        "report": {
            "number": number,
            "issued_at": issued_at.isoformat(),
            "issued_local": _local(issued_at, ZoneInfo(analysis.studio.timezone)),
            "issued_by": _name(issued_by) if issued_by else "",
        },
        "studio": {"name": analysis.studio.name, "address": analysis.studio.address},
        "customer": _customer(session.rider),
        "session": _session(session, runs, zone),
        "instruments": [_instrument(one) for one in session.instruments.order_by("kind", "name", "serial")],
        "equipment": equipment(session),
        "setups": [_setup(link.setup, reference=link.reference) for link in _setup_links(session)],
        "left_out": {str(run.number): run.left_out for run in runs if run.left_out},
        "recordings": _recordings(runs),
        "analysis": {
            "id": str(analysis.pk),
            "number": analysis.number,
            "done_at": analysis.created_at.isoformat(),
            "inputs_sha256": analysis.inputs_sha256,
            "result_sha256": fingerprint(analysis.result),
        },
        "result": analysis.result,
    }
    plain: dict[str, Any] = json.loads(canonical(facts))
    return plain


def _local(moment: datetime, zone: ZoneInfo) -> str:
    return f"{moment.astimezone(zone):%Y-%m-%d %H:%M} ({zone.key})"


def _name(user: User) -> str:
    return user.get_full_name() or user.get_username()


def _customer(rider: Rider) -> dict[str, str]:
    return {"code": rider.code, "name": f"{rider.given_names} {rider.family_name}".strip()}


def _session(session: FieldSession, runs: Iterable[Run], zone: ZoneInfo) -> dict[str, Any]:
    course, bike = session.course, session.bike
    return {
        "title": session.title,
        "date": session.date.isoformat(),
        "timezone": session.timezone,
        "ridden": _ridden(runs, zone),
        "fitter": _name(session.fitter) if session.fitter else session.fitter_name,
        "course": {
            "name": course.name,
            "kind": course.get_kind_display(),
            "length_m": course.length_m,
            "bearing_deg": course.bearing_deg,
            "surface": course.surface,
        },
        "bike": {"name": bike.name, "kind": bike.kind, "frame": bike.frame, "size": bike.size},
        "weather": session.weather,
        "entered": {
            "system_mass_kg": session.system_mass_kg,
            "rider_mass_kg": session.rider_mass_kg,
            "crr": session.assumed_crr,
            "drivetrain_efficiency": session.assumed_drivetrain_efficiency,
            "repeatability_sd_m2": session.repeatability_sd_m2,
            "repeatability_df": session.repeatability_df,
        },
    }


def _ridden(runs: Iterable[Run], zone: ZoneInfo) -> list[str] | None:
    """First and last moment of the day's recordings, on the course's own clock."""
    moments = [
        moment
        for run in runs
        for moment in (
            run.started_at or (run.recording and run.recording.started_at),
            run.ended_at or (run.recording and run.recording.ended_at),
        )
        if moment
    ]
    return [f"{m.astimezone(zone):%H:%M}" for m in (min(moments), max(moments))] if moments else None


def _instrument(instrument: Instrument) -> dict[str, Any]:
    last = instrument.calibrations.order_by("-done_on", "-id").first()
    check = (
        {"done_on": last.done_on.isoformat(), "result": last.result, "due_on": last.due_on and last.due_on.isoformat()}
        if last
        else None
    )
    return {
        "kind": instrument.get_kind_display(),
        "name": instrument.name,
        "serial": instrument.serial,
        "stated_accuracy": instrument.stated_accuracy,
        "last_check": check,
    }


def _setup_links(session: FieldSession) -> QuerySet[SessionSetup]:
    return session.setup_links.select_related("setup__position").order_by("order")


def _setup(setup: Setup, *, reference: bool) -> dict[str, Any]:
    slots = setup.slots.select_related("item__product").order_by("slot")
    return {
        "label": setup.label,
        "reference": reference,
        "position_number": setup.position.number if setup.position else None,
        "items": {s.slot: {"name": s.item.product.name, "serial": s.item.serial} for s in slots},
    }


def _recordings(runs: Iterable[Run]) -> list[dict[str, Any]]:
    return [
        {"run": run.number, "filename": run.recording.filename, "sha256": run.recording.sha256}
        for run in runs
        if run.recording
    ]

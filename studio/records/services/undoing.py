"""Undoing a correction: on the day it was made, and only while nobody has built on it since."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.core.exceptions import ObjectDoesNotExist
from django.utils import timezone

from analysis.readers.faults import Fault, shown
from studio.records.errors import Conflict, fault, sentence
from studio.records.models import Correction, FieldSession, Instrument, Run, Setup, User
from studio.records.services import write
from studio.records.services.corrections import columns_of, links_of, values_of_columns
from studio.records.services.events import note_event
from studio.records.services.runs import run_restore, run_write
from studio.records.services.sessions import replace_links, session_restore

GONE = "What this correction speaks of was deleted since; it cannot be undone."


def correction_undo(*, correction: Correction, by: User | None) -> Correction:
    """Put back what a correction changed.

    Raises `Conflict` when it is undone already, another day's, or when somebody changed the same since.
    """
    with write.change_of(correction.studio):
        row = Correction.objects.select_for_update().select_related("studio").get(pk=correction.pk)
        if row.undone_at is not None:
            raise Conflict("This correction is undone already.")
        _refuse_other_day(row)
        try:
            _put_back(row, by)
        except ObjectDoesNotExist as error:
            raise Conflict(GONE) from error
        row.undone_at, row.undone_by = timezone.now(), by
        row.version += 1
        row.save(update_fields=["undone_at", "undone_by", "version", "updated_at"])
        note_event(studio=row.studio, by=by, verb="undone", record=row)
    return row


def may_be_undone(*, made: datetime, undone: datetime | None, zone: str, now: datetime) -> bool:
    """Whether it is still the day of the correction, by the studio's clock, and nobody undid it."""
    return undone is None and _day(made, zone) == _day(now, zone)


def _day(moment: datetime, zone: str) -> str:
    return f"{moment.astimezone(ZoneInfo(zone)):%Y-%m-%d}"


def _refuse_other_day(correction: Correction) -> None:
    made = _day(correction.created_at, correction.studio.timezone)
    if made != _day(timezone.now(), correction.studio.timezone):
        raise Conflict(
            f"This was done on {made}; undoing ends with that day. Correct it anew: both are then on record."
        )


def _put_back(correction: Correction, by: User | None) -> None:
    changes = correction.changes
    if "deleted" in changes:
        _restore(correction, changes["deleted"], by)
        return
    session = FieldSession.objects.select_related("studio").get(pk=correction.session_key)
    runs = {str(run.pk): run for run in session.runs.select_related("session", "setup", "studio")}
    faults = list(_moved_on(session, runs, changes))
    if faults:
        raise Conflict(sentence("Somebody changed the same since", faults), faults=tuple(faults))
    if "links" in changes:
        replace_links(session, changes["links"]["before"])
    for step in changes["runs"]:
        run = runs[step["id"]]
        before = values_of_columns(Run, step["before"])
        run_write(record=run, by=by, version=run.version, changes=before, verb="undone")
    _refuse_unlinked(session)


def _moved_on(session: FieldSession, runs: Mapping[str, Run], changes: Mapping[str, Any]) -> list[Fault]:
    """Everything that no longer is as the correction left it."""
    faults = []
    for step in changes["runs"]:
        run = runs.get(step["id"])
        if run is None:
            faults.append(fault(f"run {step['number']}", "deleted", "the run as the correction left it"))
            continue
        now = columns_of(run, step["after"])
        faults += [
            fault(f"run {run.number}, {name}", shown(_said(run, name)), "as the correction left it")
            for name, value in step["after"].items()
            if now[name] != value
        ]
    if "links" in changes and links_of(session) != changes["links"]["after"]:
        faults.append(fault("setups", "changed since", "the session's setups as the correction left them"))
    return faults


def _said(run: Run, name: str) -> str:
    value = getattr(run, name)
    return "" if value is None else str(value)


def _refuse_unlinked(session: FieldSession) -> None:
    linked = session.setup_links.values("setup_id")
    later = session.runs.exclude(setup__in=linked).select_related("setup").order_by("number")
    faults = [fault(f"run {run.number}", f"setup {run.setup.label}", "runs of the setups before") for run in later]
    if faults:
        raise Conflict(sentence("Runs use the new setup since", faults), faults=tuple(faults))


def _restore(correction: Correction, deleted: Mapping[str, Any], by: User | None) -> None:
    if deleted["record"] == "run":
        values = values_of_columns(Run, deleted["columns"])
        run_restore(values=values | {"studio": correction.studio}, by=by)
        return
    setups = {str(setup.pk): setup for setup in Setup.objects.filter(pk__in=[key for key, _ in deleted["links"]])}
    instruments = list(Instrument.objects.filter(pk__in=deleted["instruments"]))
    if len(setups) < len(deleted["links"]) or len(instruments) < len(deleted["instruments"]):
        raise Conflict(GONE)
    session_restore(
        values=values_of_columns(FieldSession, deleted["columns"]) | {"studio": correction.studio},
        setups=[setups[key] for key, _ in deleted["links"]],
        reference=next((setups[key] for key, reference in deleted["links"] if reference), None),
        instruments=instruments,
        by=by,
    )

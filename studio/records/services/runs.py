"""Runs: which setup was ridden when, in which recording, kept or left out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any

from django.db.models import Max

from analysis.readers.faults import Fault, shown
from analysis.readers.ranges import MOST
from studio.records.errors import fault
from studio.records.models import CorrectionKind, FieldSession, Recording, RecordingState, Run, Setup, Studio, User
from studio.records.services import write
from studio.records.services.corrections import columns_of, correction_note, kind_of_change, links_of, run_step
from studio.records.services.sessions import hand_over_place, link_setup, setup_faults

RUN_FIELDS = (
    "number",
    "setup",
    "recording",
    "started_at",
    "ended_at",
    "lap",
    "system_mass_kg",
    "left_out",
    "note",
)
CUT_FIELDS = frozenset({"recording", "started_at", "ended_at", "lap"})


def run_create(*, studio: Studio, by: User | None, session: FieldSession, **fields: object) -> Run:
    """Log a run; without a number it gets the session's next. Its setup joins those that the session tests."""
    with write.change_of(studio):
        last = Run.objects.filter(session=session).aggregate(last=Max("number"))["last"] or 0
        values = {"number": last + 1, **fields, "session": session}
        run = write.create(Run, studio=studio, by=by, fields=values, rules=[_whole])
        link_setup(session, run.setup)
    return run


def run_update(*, record: Run, by: User | None, version: int, changes: Mapping[str, Any]) -> Run:
    """Correct a run, leave it out with a reason, or take it back in with an empty one.

    Leaving out, taking in and reassigning are kept with both values, to be shown and undone. A setup whose last run
    was reassigned is tested no longer.
    """
    write.refuse_unknown(record, changes, RUN_FIELDS)
    with write.change_of(record.studio):
        before, links = columns_of(record, changes), links_of(record.session)
        after = columns_of(write.changed_copy(record, changes), changes)
        kind = kind_of_change(before, after)
        run = run_write(record=record, by=by, version=version, changes=changes, verb=kind or "changed")
        if kind == CorrectionKind.REASSIGNED:
            hand_over_place(run.session, links, left=before["setup"], taker=after["setup"])
        if kind is not None:
            kept: dict[str, Any] = {"runs": [run_step(run, before, after)]}
            now = links_of(run.session)
            if now != links:
                kept["links"] = {"before": links, "after": now}
            reason = run.left_out if kind == CorrectionKind.LEFT_OUT else ""
            correction_note(session=run.session, kind=kind, by=by, changes=kept, reason=reason)
    return run


def run_write(*, record: Run, by: User | None, version: int, changes: Mapping[str, Any], verb: str) -> Run:
    """Write a run's new values under the event's `verb`, and link its setup; who calls this keeps the correction."""
    with write.change_of(record.studio):
        run = write.update(
            record, by=by, version=version, changes=changes, changeable=RUN_FIELDS, rules=[_whole], verb=verb
        )
        link_setup(run.session, run.setup)
        if CUT_FIELDS & changes.keys():
            run_ridden(session=run.session, ridden={run.number: (None, None)})
    return run


def run_ridden(*, session: FieldSession, ridden: Mapping[int, tuple[float | None, float | None]]) -> None:
    """Enter metres and seconds ridden by run number, as read from channels; nobody's edit, so no version moves."""
    runs = list(session.runs.filter(number__in=ridden))
    for run in runs:
        run.ridden_m, run.ridden_s = ridden[run.number]
    Run.objects.bulk_update(runs, ["ridden_m", "ridden_s"])


def run_delete(*, record: Run, by: User | None, version: int) -> None:
    """Delete a run that was logged by mistake; one that was ridden is better left out with its reason."""
    with write.change_of(record.studio):
        deleted = {"record": "run", "columns": columns_of(record)}
        write.delete(record, by=by, version=version)
        kind = CorrectionKind.RUN_DELETED
        correction_note(session=record.session, kind=kind, by=by, changes={"number": record.number, "deleted": deleted})


def run_restore(*, values: Mapping[str, Any], by: User | None) -> Run:
    """Enter a deleted run again, the same row as before; its old entity tags stay stale."""
    run = Run(**values)
    run.version += 1
    with write.change_of(run.studio):
        write.enter(run, by=by, rules=[_whole], verb="restored")
        link_setup(run.session, run.setup)
    return run


def _whole(run: Run) -> Iterable[Fault]:
    others = Setup.objects.filter(session_links__session=run.session).exclude(pk=run.setup_id)
    yield from setup_faults(run.session, [*others, run.setup], "setup")
    if run._state.adding and Run.objects.filter(session=run.session).count() >= MOST["runs"]:
        yield fault("session", f"a session of {MOST['runs']} runs", "another session for more")
    if run.recording is not None:
        yield from _recording_faults(run, run.recording)


def _recording_faults(run: Run, recording: Recording) -> Iterable[Fault]:
    if recording.session_id != run.session_id:
        yield fault("recording", shown(recording.filename), "a recording of the same session")
    if recording.state == RecordingState.REFUSED:
        yield fault("recording", f"{shown(recording.filename)}, which could not be read", "a sound recording")
    if recording.state != RecordingState.READ:
        return  # its extent is not known yet; the analysis looks again
    if run.lap is not None and run.lap > (recording.laps or 0):
        yield fault("lap", shown(run.lap), f"a lap of {recording.filename}, which has {recording.laps or 'none'}")
    if recording.started_at is None or recording.ended_at is None:
        return
    starts_late = run.started_at is not None and run.started_at > recording.ended_at
    ends_early = run.ended_at is not None and run.ended_at <= recording.started_at
    if starts_late or ends_early:
        given = f"{_clock(run.started_at if starts_late else run.ended_at)}, outside {recording.filename}"
        allowed = f"times from {_clock(recording.started_at)} to {_clock(recording.ended_at)}"
        yield fault("from" if starts_late else "to", given, allowed)


def _clock(moment: datetime | None) -> str:
    return "" if moment is None else moment.astimezone(UTC).isoformat().replace("+00:00", "Z")

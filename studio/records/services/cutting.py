"""One recording cut into runs, by laps or by times, each with its setup: all of them or none."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from analysis.readers.faults import Fault
from analysis.readers.parquet import stored_laps
from analysis.readers.samples import Lap
from studio.records.errors import Conflict, Unusable, fault, sentence
from studio.records.models import Recording, RecordingState, Run, Setup, User
from studio.records.services import write
from studio.records.services.runs import run_create
from studio.records.store import file_path

KEYS = {"started_at": "from", "ended_at": "to"}
"""What a cut calls the columns that have another name."""
CUT_FIELDS = ("lap", "started_at", "ended_at", "left_out", "note")


@dataclass(frozen=True, slots=True)
class _Span:
    """Where a run lies in its recording; seconds from its first sample, or from nowhere where it has no clock."""

    name: str
    start_s: float
    end_s: float


def recording_cut(*, recording: Recording, cuts: Sequence[Mapping[str, Any]], by: User | None) -> list[Run]:
    """Make a run of each cut, in the order given; they get the session's next numbers.

    A cut has its `setup` and what `CUT_FIELDS` names; without a lap and times it is the whole recording.
    Raises `Unusable` with every fault, `Conflict` where the recording is not read.
    """
    if recording.state != RecordingState.READ:
        raise Conflict(f"{recording.filename} is not read: wait for its job, or mend what it says, then cut it.")
    start, laps = stored_laps(file_path(studio_id=recording.studio_id, sha256=recording.channels_sha256))
    faults: list[Fault] = []
    runs: list[Run] = []
    with write.change_of(recording.studio):
        taken = _taken(recording, start, laps)
        for at, cut in enumerate(cuts):
            found = list(_cut_faults(cut, start, taken, laps))
            if not found:
                try:
                    runs.append(_run(recording, cut, by))
                    taken.append(_span(runs[-1], start, laps))
                except Unusable as refusal:
                    found = list(refusal.faults)
            faults += [_in_cut(at, one) for one in found]
        if faults:
            raise Unusable(sentence(f"{recording.filename} cannot be cut so", faults), faults=tuple(faults))
    return runs


def _in_cut(at: int, found: Fault) -> Fault:
    names = found.key.split(", ")
    return replace(found, key=", ".join(f"runs.{at}.{KEYS.get(name, name)}" for name in names))


def _run(recording: Recording, cut: Mapping[str, Any], by: User | None) -> Run:
    setup: Setup = cut["setup"]
    fields = {name: cut[name] for name in CUT_FIELDS if cut.get(name) is not None}
    return run_create(
        studio=recording.studio, by=by, session=recording.session, setup=setup, recording=recording, **fields
    )


def _cut_faults(
    cut: Mapping[str, Any], start: datetime | None, taken: Iterable[_Span], laps: Sequence[Lap]
) -> Iterable[Fault]:
    draft = Run(**{name: cut.get(name) for name in ("lap", "started_at", "ended_at")})
    if draft.lap is not None and draft.lap not in {lap.number for lap in laps}:
        numbers = ", ".join(str(lap.number) for lap in laps[:50]) or "none: cut by from and to"
        yield fault("lap", draft.lap, f"a lap of the recording: {numbers}")
        return
    if start is None and (draft.started_at or draft.ended_at):
        yield fault("from", "times for a recording that has seconds and no clock", "a lap")
        return
    if cut.get("left_out"):
        return
    span = _span(draft, start, laps)
    for other in taken:
        if span.start_s < other.end_s and other.start_s < span.end_s:
            key = "from" if draft.lap is None else "lap"
            yield fault(key, f"a part that {other.name} has too", "parts of their own, or a reason under left_out")


def _taken(recording: Recording, start: datetime | None, laps: Sequence[Lap]) -> list[_Span]:
    """What the runs that count have of the recording already."""
    return [_span(run, start, laps) for run in recording.runs.filter(left_out="").order_by("number")]


def _span(run: Run, start: datetime | None, laps: Sequence[Lap]) -> _Span:
    name = f"run {run.number}" if run.number else "the run"
    if run.lap is not None:
        lap = next((lap for lap in laps if lap.number == run.lap), None)
        return _Span(name, lap.start_s, lap.end_s) if lap else _Span(name, 0.0, 0.0)
    begins = -math.inf if run.started_at is None else _seconds(run.started_at, start)
    ends = math.inf if run.ended_at is None else _seconds(run.ended_at, start)
    return _Span(name, begins, ends)


def _seconds(moment: datetime, start: datetime | None) -> float:
    return math.nan if start is None else (moment - start) / timedelta(seconds=1)

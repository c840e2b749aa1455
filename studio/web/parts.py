"""The parts of a recording as a form shows and sends them: laps, closed paths, and times that a fitter writes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from math import ceil
from typing import Any

from analysis.readers.times import known_zone
from studio.records.models import Recording, Setup

FREE_ROWS = 4
MOST_OF_A_WAY = 200  # a form has at most a thousand entries
WAYS = {"laps": "By laps", "paths": "By closed paths", "times": "By times of your own"}


@dataclass(slots=True)
class Part:
    """One row of the form. Laps are exact; times are of the session's clock and can be corrected."""

    key: str
    by: str
    name: str
    facts: str = ""
    lap: int | None = None
    begins: str = ""
    ends: str = ""
    setup: str = ""

    @property
    def way(self) -> str:
        return WAYS[self.by]


def parts_of(recording: Recording, found: Mapping[str, Any]) -> list[Part]:
    """What the readers propose, then some rows to fill in; without a clock only laps can be cut."""
    laps = [one for one in found["proposed_runs"] if one["by"] == "laps"][:MOST_OF_A_WAY]
    paths = [one for one in found["proposed_runs"] if one["by"] == "paths"][:MOST_OF_A_WAY]
    parts = [Part(f"lap-{one['lap']}", "laps", f"Lap {one['lap']}", _facts(one), lap=one["lap"]) for one in laps]
    zone = known_zone(recording.session.timezone)
    if recording.started_at is None or zone is None:
        return parts
    for number, one in enumerate(paths, 1):
        # Whole seconds around the path: the form's clock shows no smaller ones.
        begins = datetime.fromisoformat(one["from"]).astimezone(zone)
        ends = (datetime.fromisoformat(one["to"]) + timedelta(microseconds=999_999)).astimezone(zone)
        path = Part(f"path-{number}", "paths", f"Path {number}", _facts(one))
        path.begins, path.ends = f"{begins:%H:%M:%S}", f"{ends:%H:%M:%S}"
        parts.append(path)
    return parts + [Part(f"time-{row}", "times", f"Time {row}") for row in range(1, FREE_ROWS + 1)]


def cuts_of(
    recording: Recording, parts: list[Part], sent: Mapping[str, str], setups: Mapping[str, Setup]
) -> tuple[list[tuple[Part, dict[str, Any]]], list[str]]:
    """Fill the rows with what was sent: the cuts of those with a setup, in order of time, and what is wrong."""
    cuts: list[tuple[Part, dict[str, Any]]] = []
    faults: list[str] = []
    for part in parts:
        part.setup = sent.get(f"setup-{part.key}", "")
        part.begins = sent.get(f"begins-{part.key}", part.begins).strip()
        part.ends = sent.get(f"ends-{part.key}", part.ends).strip()
        if not part.setup:
            continue
        if part.setup not in setups:
            faults.append(f"{part.name}: the setup is none of this bike's. Choose one of the list.")
            continue
        cut, fault = _cut(recording, part)
        cuts.append((part, {"setup": setups[part.setup], **cut}))
        faults += [fault] if fault else []
    return sorted(cuts, key=lambda entry: _order(entry[1])), faults


def _cut(recording: Recording, part: Part) -> tuple[dict[str, Any], str]:
    if part.lap is not None:
        return {"lap": part.lap}, ""
    ends = {name: _moment(recording, text) for name, text in (("started_at", part.begins), ("ended_at", part.ends))}
    if None in ends.values():
        return {}, f"{part.name}: write both times as 08:10:00, on the clock of {recording.session.timezone}."
    if ends["started_at"] >= ends["ended_at"]:  # type: ignore[operator]  # neither is None here
        return {}, f"{part.name}: it ends at {part.ends}, which is not after {part.begins}."
    return ends, ""


def _moment(recording: Recording, text: str) -> datetime | None:
    """A time of day within the recording: of the day on which it began, or of the next where it went past midnight."""
    zone = known_zone(recording.session.timezone)
    try:
        clock = time.fromisoformat(text)
    except ValueError:
        return None
    if recording.started_at is None or clock.tzinfo is not None or zone is None:
        return None
    began = recording.started_at.astimezone(zone)
    moment = datetime.combine(began.date(), clock, zone)
    return moment if moment >= began - timedelta(hours=12) else moment + timedelta(days=1)


def _order(cut: Mapping[str, Any]) -> tuple[int, float]:
    """Laps by their number, times by the clock; who mixes them gets the laps first."""
    return (0, cut["lap"]) if "lap" in cut else (1, cut["started_at"].timestamp() if "started_at" in cut else 0.0)


def _facts(proposal: Mapping[str, Any]) -> str:
    seconds = proposal["end_s"] - proposal["start_s"]
    words = [f"{int(seconds // 60)} min {ceil(seconds % 60):02d} s"]
    if proposal["distance_m"] is not None:
        words.append(f"{proposal['distance_m'] / 1000:.2f} km")
    if proposal["paths"] and proposal["paths"] > 1:
        words.append(f"{proposal['paths']} closed paths")
    if proposal["by"] == "paths":
        words.append(proposal["why"])
    return ", ".join(words)

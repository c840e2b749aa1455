"""What is found in a file before it is tied to runs: plain JSON, from one reading, without any database.

Nothing is judged here beyond what the readers judge; `proposals.py` has the runs that a fitter may confirm.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Literal

import numpy as np

from analysis.core.types import Array, CourseKind, Warning
from analysis.readers.channels import CHANNELS
from analysis.readers.limits import USUAL_LIMITS, Limits
from analysis.readers.mapping import suggested_channel
from analysis.readers.mapping_document import Own, device_key
from analysis.readers.proposals import Proposal, proposed_runs
from analysis.readers.recording import read_recording
from analysis.readers.samples import Recording

GAP_STEPS = 3.0  # a step longer than this many usual ones is a gap; common practice, no source
MOST_LISTED = 100
Zone = Literal["given", "assumed", "none"]


@dataclass(frozen=True, slots=True)
class ChannelFound:
    """One channel: the file's field behind it, which share of the samples has a value, and between what."""

    name: str
    unit: str
    field: str | None
    coverage: float
    lowest: float | None
    highest: float | None


@dataclass(frozen=True, slots=True)
class FieldLeft:
    """A field that was not understood, and the channel that it most resembles."""

    field: str
    suggestion: str | None
    suggestion_unit: str | None


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of the recording's clock."""

    start_s: float
    end_s: float
    number: int | None = None  # of a lap


@dataclass(frozen=True, slots=True, eq=False)
class Preview:
    """What one file holds."""

    name: str
    format: str
    samples: int
    start: datetime | None
    start_s: float
    end_s: float
    step_s: float | None
    zone: Zone
    channels: tuple[ChannelFound, ...]
    fields_left: tuple[FieldLeft, ...]
    gaps: int
    gaps_s: float
    longest_gaps: tuple[Span, ...]
    laps: tuple[Span, ...]
    device_key: str
    device: Mapping[str, Any]
    notes: tuple[Warning, ...]
    proposed_runs: tuple[Proposal, ...]
    recording: Recording

    def document(self) -> dict[str, Any]:
        """Say all of it in plain JSON."""
        listed = ("channels", "fields_left", "longest_gaps", "laps", "notes")
        plain = ("name", "format", "samples", "start_s", "end_s", "step_s", "zone", "gaps", "gaps_s", "device_key")
        seconds = self.recording.time_s
        return {
            **{key: getattr(self, key) for key in plain},
            "start": _clock(self.start, float(seconds[0])),
            "end": _clock(self.start, float(seconds[-1])),
            "device": dict(self.device),
            **{key: [asdict(entry) for entry in getattr(self, key)] for key in listed},
            "proposed_runs": [proposal.document(self.recording) for proposal in self.proposed_runs],
        }


def preview(
    name: str,
    data: bytes | Path,
    *,
    mapping: Own = None,
    zone: str | None = None,
    limits: Limits = USUAL_LIMITS,
    course_kind: CourseKind | None = None,
    length_m: float | None = None,
) -> Preview:
    """Read a file and say what is in it; with a course the proposed runs are held against its length.

    Raises `Refused` where the file cannot be read.
    """
    recording = read_recording(name, data, mapping=mapping, zone=zone, limits=limits)
    return preview_of(name, recording, course_kind=course_kind, length_m=length_m)


def preview_of(
    name: str, recording: Recording, *, course_kind: CourseKind | None = None, length_m: float | None = None
) -> Preview:
    """Say what is in a recording that was read already."""
    steps = np.diff(recording.time_s)
    usual = float(np.median(steps)) if steps.size else None
    gaps = np.flatnonzero(steps > GAP_STEPS * usual) if usual else np.array([], dtype=np.intp)
    longest = gaps[np.argsort(-steps[gaps], kind="stable")[:MOST_LISTED]]
    return Preview(
        name=name,
        format=recording.format,
        samples=recording.time_s.size,
        start=recording.start,
        start_s=float(recording.time_s[0]),
        end_s=float(recording.time_s[-1]),
        step_s=usual,
        zone=_zone(recording),
        channels=_channels(recording),
        fields_left=_fields_left(recording),
        gaps=int(gaps.size),
        gaps_s=float(steps[gaps].sum()),
        longest_gaps=tuple(Span(float(recording.time_s[at]), float(recording.time_s[at + 1])) for at in longest),
        laps=_laps(recording),
        device_key=device_key(recording.device),
        device=recording.device,
        notes=tuple(replace(warning, where="session") for warning in recording.notes),
        proposed_runs=proposed_runs(recording, course_kind, length_m),
        recording=recording,
    )


def _channels(recording: Recording) -> tuple[ChannelFound, ...]:
    fields = {channel: field for field, channel in recording.device.get("fields", {}).items()}
    return tuple(
        _channel(name, recording.columns[name], fields.get(name)) for name in CHANNELS if name in recording.columns
    )


def _channel(name: str, values: Array, field: str | None) -> ChannelFound:
    known = values[np.isfinite(values)]
    ends = (float(known.min()), float(known.max())) if known.size else (None, None)
    return ChannelFound(name, CHANNELS[name].unit, field, round(known.size / values.size, 4), *ends)


def _fields_left(recording: Recording) -> tuple[FieldLeft, ...]:
    left = []
    beside = [field for field in recording.extra if not _is_the_coarser_twin(field, recording)]
    for field in [*beside, *recording.device.get("unread_fields", ())][:MOST_LISTED]:
        channel = suggested_channel(field)
        left.append(FieldLeft(field, channel, CHANNELS[channel].unit if channel in CHANNELS else None))
    return tuple(left)


def _is_the_coarser_twin(field: str, recording: Recording) -> bool:
    """Whether the channel has the same values from the finer of two FIT fields, such as enhanced_speed beside speed."""
    finer = recording.device.get("fields", {}).get(f"enhanced_{field}")
    return finer in recording.columns and np.array_equal(
        recording.extra[field], recording.columns[finer], equal_nan=True
    )


def _laps(recording: Recording) -> tuple[Span, ...]:
    last = float(recording.time_s[-1])
    return tuple(
        Span(lap.start_s, lap.end_s if math.isfinite(lap.end_s) else last, lap.number) for lap in recording.laps
    )


def _zone(recording: Recording) -> Zone:
    if recording.start is None:
        return "none"
    return "assumed" if any(warning.code == "zone_assumed" for warning in recording.notes) else "given"


def _clock(start: datetime | None, seconds: float) -> str | None:
    return None if start is None else (start + timedelta(seconds=seconds)).isoformat().replace("+00:00", "Z")

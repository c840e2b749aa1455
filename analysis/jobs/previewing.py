"""What was found in a recording, before it is tied to runs: its preview, and how its fields were read."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from datetime import datetime, time, timedelta
from typing import Any, Literal, cast

from analysis.jobs.reading import recording_of
from analysis.readers.channels import CHANNELS
from analysis.readers.mapping import suggested_channel
from analysis.readers.mapping_document import device_key, mapping_document
from analysis.readers.preview import preview_of
from analysis.readers.times import known_zone
from studio.records.models import FieldSession, Recording, RecordingState

MOST_FIELDS = 500
NIGHT = timedelta(hours=6)  # a ride past midnight still belongs to the day before
_one_at_a_time = threading.Lock()
"""The largest recording fills some hundred MiB; a web server has many threads."""


def found_in(recording: Recording) -> dict[str, Any]:
    """Say what is in a recording: `found` once it is read, `problem` where it cannot be, neither while it waits."""
    course = recording.session.course
    found = None
    if recording.state == RecordingState.READ:
        kind = cast(Literal["out_and_back", "lap", "track"], course.kind)
        with _one_at_a_time:
            reading = recording_of(recording)
            found = preview_of(recording.filename, reading, course_kind=kind, length_m=course.length_m).document()
    return {
        "recording": str(recording.pk),
        "state": recording.state,
        "found": found,
        "problem": recording.problem,
        "device_key": device_key(recording.device) if recording.device else None,
        "mapping": mapping_document(recording.mapping)["fields"],
        "fields": fields_in(recording.device),
        "date_note": date_note(recording, recording.session),
    }


def fields_in(device: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Every field that the file has, the channel that it was read as, and for others the one they resemble."""
    read = device.get("fields", {})
    return [_field(name, read.get(name)) for name in device.get("columns", ())[:MOST_FIELDS] if name.strip()]


def _field(name: str, channel: str | None) -> dict[str, Any]:
    suggestion = None if channel else suggested_channel(name)
    unit = CHANNELS[suggestion].unit if suggestion in CHANNELS else None
    return {"field": name, "channel": channel, "suggestion": suggestion, "suggestion_unit": unit}


def date_note(recording: Recording, session: FieldSession) -> str | None:
    """Say that a recording was made on another day than its session; None where it was not, or has no clock."""
    zone = known_zone(session.timezone)
    if recording.started_at is None or recording.ended_at is None or zone is None:
        return None
    begins = datetime.combine(session.date, time(), zone)
    if recording.started_at < begins + timedelta(days=1) + NIGHT and recording.ended_at >= begins:
        return None
    day = recording.started_at.astimezone(zone).date()
    away = abs((day - session.date).days)
    return (
        f"{recording.filename} was recorded on {day:%-d %B %Y}, {away} day{'s' if away != 1 else ''} "
        f"{'after' if day > session.date else 'before'} the session's date, {session.date:%-d %B %Y}. "
        "Correct the session's date; if the device's clock was wrong, say so in the note."
    )

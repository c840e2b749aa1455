"""How a device's fields are read: seen, changed and remembered from one of its recordings, which is then read again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from analysis.jobs.enqueue import enqueue
from analysis.jobs.previewing import fields_in
from analysis.readers.channels import CHANNELS, TIME
from analysis.readers.faults import Refused
from analysis.readers.mapping import UNITS
from analysis.readers.mapping_document import described, device_key, mapping_document
from studio.records.errors import RecordsError
from studio.records.models import DeviceMapping, Recording
from studio.records.services.mappings import mapping_create, mapping_update
from studio.web.access import STAFF, caller, open_to
from studio.web.both_values import sent_version
from studio.web.recordings import visible_recording

AS_USUAL, UNREAD = "", "unread"
ALL_UNITS = list(dict.fromkeys(unit for units in UNITS.values() for unit in units))
KEYS = ("channel", "unit", "scale", "offset")
MOST_ROWS = 240  # a form has at most a thousand entries


def rows_of(recording: Recording, entries: Mapping[str, Mapping[str, Any]]) -> list[dict[str, Any]]:
    """A row for each field of the file, with what the mapping says of it."""
    rows = []
    for at, field in enumerate(fields_in(recording.device)[:MOST_ROWS]):
        entry = entries.get(field["field"].strip().casefold())
        chosen: dict[str, Any] = dict.fromkeys(KEYS, "")
        if entry is not None:
            chosen = {key: "" if entry.get(key) is None else str(entry[key]) for key in KEYS}
            chosen["channel"] = entry["channel"] or UNREAD
        rows.append({"at": at, "usual": _usual(field, entry), **field, "chosen": chosen})
    return rows


def _usual(field: Mapping[str, Any], entry: object) -> str:
    """What the field is without a word of the studio's; not known while the mapping decides it."""
    if entry is not None:
        return ""
    if field["channel"]:
        return f"now read as {field['channel']}"
    resembles = f"; it resembles {field['suggestion']}" if field["suggestion"] else ""
    return f"now left unread{resembles}"


def page_of(request: HttpRequest, recording: Recording, rows: list[dict[str, Any]], faults: list[str]) -> HttpResponse:
    mapping = remembered(recording)
    facts = {
        "recording": recording,
        "rows": rows,
        "faults": faults,
        "channels": [*((name, channel.meaning) for name, channel in CHANNELS.items()), (TIME, "the time of a sample")],
        "units": ALL_UNITS,
        "version": mapping.version if mapping else 0,
        "rules": described(mapping.rules) if mapping else [],
    }
    return render(request, "web/fields.html", facts, status=422 if faults else 200)


def remembered(recording: Recording) -> DeviceMapping | None:
    """What the studio remembers for the recording's device."""
    key = device_key(recording.device)
    return DeviceMapping.objects.filter(studio=recording.studio_id, device_key=key).first()


def sent_entries(request: HttpRequest, recording: Recording) -> list[dict[str, Any]]:
    """The fields of which the form says something, as entries of a mapping document."""
    entries = []
    for at, field in enumerate(fields_in(recording.device)[:MOST_ROWS]):
        sent = {key: request.POST.get(f"{key}-{at}", "").strip() for key in KEYS}
        if sent["channel"] == AS_USUAL:
            continue
        if sent["channel"] == UNREAD:
            entries.append({"field": field["field"], "channel": None})
            continue
        numbers = {key: _number(sent[key]) for key in ("scale", "offset") if sent[key]}
        unit = {"unit": sent["unit"]} if sent["unit"] else {}
        entries.append({"field": field["field"], "channel": sent["channel"], **unit, **numbers})
    return entries


def _number(text: str) -> float | str:
    """The number, or the text itself: the check of the whole names what is no number."""
    try:
        return float(text)
    except ValueError:
        return text


def remember(request: HttpRequest, recording: Recording, entries: list[dict[str, Any]]) -> None:
    """Keep what was said for the device; a mapping that somebody changed meanwhile is not written over."""
    by, mapping = caller(request).user, remembered(recording)
    version = sent_version(request.POST)
    if mapping is not None and (entries or mapping.rules):
        mapping_update(record=mapping, by=by, version=version, changes={"fields": entries})
    elif mapping is None and entries:
        key, name = device_key(recording.device), f"as in {recording.filename}"[:200]
        mapping_create(studio=recording.studio, by=by, device_key=key, fields=entries, name=name)


@open_to(*STAFF)
def fields_page(request: HttpRequest, recording_id: UUID) -> HttpResponse:
    """The form by GET; by POST what was said is remembered and the recording read again by it."""
    recording = visible_recording(request, recording_id)
    mapping = remembered(recording)
    if request.method != "POST":
        entries = mapping_document(mapping.rules)["fields"] if mapping else []
        return page_of(request, recording, rows_of(recording, _by_field(entries)), [])
    entries = sent_entries(request, recording)
    try:
        remember(request, recording, entries)
    except Refused as refusal:
        faults = [
            f"{_name(fault.key, entries)}: found {fault.given}; allowed: {fault.allowed}." for fault in refusal.faults
        ]
        return page_of(request, recording, rows_of(recording, _by_field(entries)), faults)
    except RecordsError as refusal:
        return page_of(request, recording, rows_of(recording, _by_field(entries)), [refusal.message])
    by = caller(request)
    payload = {"recording": str(recording.pk), "filename": recording.filename, "again": True}
    job = enqueue(kind="read_recording", studio=by.studio, by=by.user, payload=payload, session=recording.session)
    return redirect("web:job", job.pk)


def _by_field(entries: list[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    return {entry["field"].strip().casefold(): entry for entry in entries}


def _name(key: str, entries: list[dict[str, Any]]) -> str:
    """`fields[3].unit` as the form has it."""
    number, _, what = key.removeprefix("fields[").partition("]")
    return f"{entries[int(number)]['field']}{what.replace('.', ', ')}" if number.isdigit() else key

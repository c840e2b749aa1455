"""One recording: what was found in it, and its parts made runs. Adding files to a session is `add_files.py`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from analysis.jobs.previewing import found_in
from analysis.readers.channels import CHANNELS
from analysis.readers.mapping_document import described
from analysis.results.models import Job
from studio.records.errors import RecordsError
from studio.records.models import FieldSession, Recording, Setup
from studio.records.services.cutting import recording_cut
from studio.web.access import STAFF, caller, open_to
from studio.web.jobs import UNFINISHED
from studio.web.parts import Part, cuts_of, parts_of

ZONES = {
    "given": "as the file says",
    "assumed": "assumed: the file has none, so the session's was taken",
    "none": "none: the file has seconds and no clock",
}


def visible_recording(request: HttpRequest, recording_id: UUID) -> Recording:
    """The recording with its session, for those who may see it."""
    visible = Recording.objects.visible_to(request.user).select_related("session__course", "session__rider", "studio")
    return get_object_or_404(visible, pk=recording_id)


def setups_for(session: FieldSession) -> list[Setup]:
    """What a run can be ridden in: the session's setups in their order, then the bike's others."""
    tested = [link.setup for link in session.setup_links.select_related("setup")]
    labels = {setup.label for setup in tested}
    others = Setup.objects.filter(bike=session.bike_id).exclude(label__in=labels).order_by("-id")[:40]
    return [*tested, *others]


def page_of(
    request: HttpRequest, recording: Recording, said: dict[str, Any], parts: list[Part], faults: Sequence[str] = ()
) -> HttpResponse:
    """The page, with what was chosen and what was wrong with it."""
    found = said["found"]
    at_work = Job.objects.visible_to(request.user).filter(
        state__in=UNFINISHED, payload__recording=str(recording.pk), kind="read_recording"
    )
    facts = {
        "recording": recording,
        "session": recording.session,
        "found": found,
        "channels": [_channel_row(channel) for channel in found["channels"]] if found else [],
        "zone": ZONES[found["zone"]] if found else "",
        "device": _device_words(found["device"]) if found else "",
        "left": [field["field"] for field in said["fields"] if not field["channel"]],
        "has_fields": bool(said["fields"]),
        "rules": described(recording.mapping),
        "date_note": said["date_note"],
        "problem": said["problem"],
        "job_at_work": at_work.first(),
        "setups": setups_for(recording.session),
        "parts": parts,
        "runs": recording.runs.select_related("setup").order_by("number"),
        "faults": faults,
    }
    return render(request, "web/recording.html", facts, status=422 if faults else 200)


@open_to(*STAFF)
def recording_page(request: HttpRequest, recording_id: UUID) -> HttpResponse:
    recording = visible_recording(request, recording_id)
    said = found_in(recording)
    return page_of(request, recording, said, parts_of(recording, said["found"]) if said["found"] else [])


@open_to(*STAFF)
def cut(request: HttpRequest, recording_id: UUID) -> HttpResponse:
    """Make the parts with a setup runs; by GET (a sign-in came in between) nothing is cut."""
    recording = visible_recording(request, recording_id)
    if request.method != "POST":
        return redirect("web:recording", recording.pk)
    said = found_in(recording)
    parts = parts_of(recording, said["found"]) if said["found"] else []
    cuts, faults = cuts_of(recording, parts, request.POST, {str(one.pk): one for one in setups_for(recording.session)})
    if not cuts and not faults:
        faults = ["No part has a setup yet. Choose what was ridden in each part that is a run."]
    if not faults:
        try:
            runs = recording_cut(recording=recording, cuts=[given for _, given in cuts], by=caller(request).user)
        except RecordsError as refusal:
            names = {str(at): part.name for at, (part, _) in enumerate(cuts)}
            faults = [_sentence(fault.key, fault.given, fault.allowed, names) for fault in refusal.faults]
            faults = faults or [refusal.message]
    if faults:
        return page_of(request, recording, said, parts, faults)
    made = f"run {runs[0].number} is" if len(runs) == 1 else f"runs {runs[0].number} to {runs[-1].number} are"
    messages.success(request, f"Cut: {made} entered. Analyse the session when its runs are complete.")
    return redirect("web:session", recording.session_id)


def _sentence(key: str, given: str, allowed: str, names: dict[str, str]) -> str:
    _, at, what = key.split(".", 2)
    return f"{names[at]}, {what}: found {given}; allowed: {allowed}."


def _channel_row(channel: dict[str, Any]) -> dict[str, Any]:
    unit = "" if channel["unit"] == "1" else channel["unit"]
    ends = [channel["lowest"], channel["highest"]]
    reach = "" if None in ends else f"{ends[0]:.5g} to {ends[1]:.5g} {unit}"
    return {
        "name": channel["name"],
        "meaning": CHANNELS[channel["name"]].meaning,
        "field": channel["field"] or "",
        "cover": f"{100 * channel['coverage']:.0f} %",
        "reach": reach.strip(),
    }


def _device_words(device: dict[str, Any]) -> str:
    """The device as a person names it; a text says nothing of it."""
    facts = (device.get("file") or [{}])[0]
    parts = [facts.get("manufacturer"), facts.get("product_name") or facts.get("product")]
    if facts.get("serial_number"):
        parts.append(
            f"serial {facts['serial_number']:.0f}"
            if isinstance(facts["serial_number"], float)
            else f"serial {facts['serial_number']}"
        )
    return " ".join(str(part) for part in parts if part)

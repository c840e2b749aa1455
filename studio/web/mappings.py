"""The devices whose fields the studio reads in its own way: seen and forgotten here, changed at a recording."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from analysis.readers.mapping_document import described, device_key
from studio.records.errors import RecordsError
from studio.records.models import DeviceMapping, Recording
from studio.records.services.mappings import mapping_delete
from studio.web.access import STAFF, caller, open_to
from studio.web.both_values import sent_version
from studio.web.turning import turned

MOST_LOOKED_AT = 300
"""Of how many of the newest recordings the device is looked at, to find one at which its fields can be changed."""


@open_to(*STAFF)
def mappings(request: HttpRequest) -> HttpResponse:
    """Every device that is remembered, with its rules in words."""
    found, turn = turned(request, DeviceMapping.objects.visible_to(request.user))
    newest = Recording.objects.visible_to(request.user).order_by("-pk").only("device", "filename")[:MOST_LOOKED_AT]
    at: dict[str, Recording] = {}
    for recording in newest if found else []:
        at.setdefault(device_key(recording.device), recording)
    rows = [(one, described(one.rules), at.get(one.device_key)) for one in found]
    return render(request, "web/mappings.html", {"rows": rows, "turn": turn})


@open_to(*STAFF)
def forget(request: HttpRequest, mapping_id: UUID) -> HttpResponse:
    """By POST the device is read by the default table again; by GET the list."""
    visible = DeviceMapping.objects.visible_to(request.user).select_related("studio")
    mapping = get_object_or_404(visible, pk=mapping_id)
    if request.method == "POST":
        try:
            mapping_delete(record=mapping, by=caller(request).user, version=sent_version(request.POST))
            messages.success(request, f"The fields of the device {mapping} are forgotten.")
        except RecordsError as refusal:
            messages.error(request, f"Not forgotten: {refusal.message}")
    return redirect("web:mappings")

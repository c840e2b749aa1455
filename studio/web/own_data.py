"""A rider's data: taken along as one zip, or erased by the rider themselves or an owner."""

from __future__ import annotations

from functools import partial
from uuid import UUID

from django.contrib import messages
from django.contrib.auth import logout
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect

from reports.erasing import rider_erase
from reports.taking_along import rider_export
from studio.records.errors import RecordsError
from studio.records.models import Rider, Role
from studio.records.store import spooled
from studio.web.access import READERS, caller, open_to
from studio.web.consents import rider_page


def _rider(request: HttpRequest, rider_id: UUID) -> Rider:
    visible = Rider.objects.visible_to(request.user).select_related("studio")
    return get_object_or_404(visible, pk=rider_id)


@open_to(*READERS)
def take_along(request: HttpRequest, rider_id: UUID) -> FileResponse:
    """Everything about the rider as a zip."""
    target = spooled(partial(rider_export, rider=_rider(request, rider_id), by=caller(request).user))
    return FileResponse(target, as_attachment=True, filename="my-data.zip")


@open_to(Role.OWNER, Role.CLIENT)
def erase(request: HttpRequest, rider_id: UUID) -> HttpResponse:
    """Erase the rider, by POST only and with the rider's code typed."""
    rider = _rider(request, rider_id)
    if request.method != "POST":
        return redirect("web:rider-consents", rider.pk)
    by = caller(request).user
    own = rider.user_id == by.pk
    try:
        rider_erase(rider=rider, code=request.POST.get("code", "").strip(), by=by)
    except RecordsError as refusal:
        return rider_page(request, rider, refusal=refusal.message)
    if own:
        logout(request)
    messages.success(request, "Everything about the rider is erased.")
    return redirect("web:sign-in" if own else "web:consents")

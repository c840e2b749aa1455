"""A piece is mounted on a bike or a rider, and taken off again; its page shows the history."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect

from studio.records.errors import RecordsError
from studio.records.models import EquipmentItem, Mounting
from studio.records.services.equipment import mounting_create, mounting_update
from studio.web.access import STAFF, caller, open_to
from studio.web.both_values import sent_version
from studio.web.equipment import item_page
from studio.web.mount_form import TakeOffForm, mount_form


@open_to(*STAFF)
def mount(request: HttpRequest, item_id: UUID) -> HttpResponse:
    """By POST the piece is mounted, and leaves where it was; by GET its page."""
    visible = EquipmentItem.objects.visible_to(request.user).select_related("product", "rider", "studio")
    item, by = get_object_or_404(visible, pk=item_id), caller(request)
    if request.method != "POST":
        return redirect("web:item-history", item.pk)
    form = mount_form(request, item, request.POST)
    if form.is_valid():
        facts = {key: form.cleaned_data[key] for key in ("slot", "mounted_at")}
        try:
            mounting_create(studio=by.studio, by=by.user, item=item, **facts, **form.where())
        except RecordsError as refusal:
            form.add_error(None, refusal.message)
        else:
            messages.success(request, f"{item} is mounted.")
            return redirect("web:item-history", item.pk)
    return item_page(request, item, form)


@open_to(*STAFF)
def take_off(request: HttpRequest, mounting_id: UUID) -> HttpResponse:
    """By POST the end of a mounting is entered; by GET the page of the piece."""
    visible = Mounting.objects.visible_to(request.user).select_related("item__product", "studio")
    mounting = get_object_or_404(visible, pk=mounting_id)
    form = TakeOffForm(request.POST)
    if request.method == "POST" and not form.is_valid():
        messages.error(request, "Not taken off: enter the day and the time at which it was.")
    elif request.method == "POST":
        changes = {"removed_at": form.cleaned_data["removed_at"]}
        try:
            mounting_update(
                record=mounting, by=caller(request).user, version=sent_version(request.POST), changes=changes
            )
            messages.success(request, f"{mounting.item} is taken off.")
        except RecordsError as refusal:
            messages.error(request, f"Not taken off: {refusal.message}")
    return redirect("web:item-history", mounting.item_id)

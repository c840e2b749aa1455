"""The owner's trail: who did what to which record and when, newest first, as the chain of events has it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any
from uuid import UUID

from django.apps import apps
from django.db import models
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from studio.records.models import Event, Role, User
from studio.web.access import caller, open_to
from studio.web.turning import turned

PAGES = {
    "fieldsession": "web:session",
    "run": "web:run",
    "recording": "web:recording",
    "analysis": "web:result",
    "product": "web:product-history",
    "equipmentitem": "web:item-history",
    "instrument": "web:instrument",
    "membership": "web:member",
}
"""Kinds of records that have a page of their own."""


@open_to(Role.OWNER)
def trail(request: HttpRequest) -> HttpResponse:
    studio = caller(request).studio
    rows = Event.objects.visible_to(request.user).select_related("detail")
    found, turn = turned(request, rows)
    names = dict(User.objects.filter(pk__in={one.actor_id for one in found}).values_list("pk", "username"))
    there = _there(found)
    shown = {
        "rows": [_row(one, names, there) for one in found],
        "turn": turn,
        "beyond_end": turn.newest and not found,
        "timezone": studio.timezone,
    }
    return render(request, "web/trail.html", shown)


def _there(events: Sequence[Event]) -> set[UUID | None]:
    """Ids of the records that still have a page."""
    there: set[UUID | None] = set()
    for kind in {one.record_kind for one in events} & PAGES.keys():
        ids = {one.record_id for one in events if one.record_kind == kind}
        there |= set(_kinds()[kind]._default_manager.filter(pk__in=ids).values_list("pk", flat=True))
    return there


@cache
def _kinds() -> dict[str, type[models.Model]]:
    return {str(model._meta.model_name): model for model in apps.get_models()}


def _row(event: Event, names: dict[UUID, str], there: set[UUID | None]) -> dict[str, Any]:
    kind = _kinds().get(event.record_kind)
    who = names.get(event.actor_id, "an account that is gone") if event.actor_id else "the studio itself"
    return {
        "event": event,
        "who": who,
        "what": str(kind._meta.verbose_name) if kind else event.record_kind,
        "page": reverse(PAGES[event.record_kind], args=[event.record_id]) if event.record_id in there else "",
        "words": _words(event),
    }


def _words(event: Event) -> str:
    """What was said along with it; nothing where it was erased."""
    side = getattr(event, "detail", None)  # most acts have none
    told = [(key, value if isinstance(value, list) else [value]) for key, value in side.text.items()] if side else []
    return "; ".join(f"{key}: {', '.join(map(str, values))}" for key, values in told).replace("_", " ")

"""Deleting a session in which nothing was ridden, recorded or analysed. Bringing it back is in `corrections.py`."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from studio.records.errors import RecordsError, StaleVersion
from studio.records.models import FieldSession
from studio.records.services.sessions import session_delete
from studio.web.access import STAFF, caller, open_to
from studio.web.both_values import sent_version

NOT_SURE = "Tick the box to say that this is meant."
CHANGED = "Somebody changed this session since you opened this page. What it says now is below: delete it, or keep it."


@open_to(*STAFF)
def delete_session(request: HttpRequest, session_id: UUID) -> HttpResponse:
    """What would go, and the form; by POST with the box ticked it goes."""
    session = _session(request, session_id)
    if request.method != "POST":
        return _page(request, session)
    if request.POST.get("sure") != "yes":
        return _page(request, session, NOT_SURE, 422)
    name = str(session)
    try:
        session_delete(record=session, by=caller(request).user, version=sent_version(request.POST))
    except StaleVersion:
        return _page(request, _session(request, session_id), CHANGED, 412)
    except RecordsError as refusal:
        return _page(request, _session(request, session_id), refusal.message, 409)
    messages.success(request, f"{name} is deleted. Until midnight it can be brought back here.")
    return redirect("web:corrections")


def _session(request: HttpRequest, session_id: UUID) -> FieldSession:
    visible = FieldSession.objects.visible_to(request.user).select_related("rider", "bike", "course", "studio")
    return get_object_or_404(visible, pk=session_id)


def _page(request: HttpRequest, session: FieldSession, refusal: str = "", status: int = 200) -> HttpResponse:
    shown = {
        "session": session,
        "setups": [link.setup.label for link in session.setup_links.select_related("setup")],
        "runs": session.runs.count(),
        "recordings": session.recordings.count(),
        "refusal": refusal,
        "sure": request.POST.get("sure") == "yes",
    }
    return render(request, "web/delete-session.html", shown, status=status)

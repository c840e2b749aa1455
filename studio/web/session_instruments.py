"""Which instruments measured a test day: an analysis notes those that were due a check, the report names them all."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from studio.records.errors import RecordsError, StaleVersion
from studio.records.models import FieldSession, Instrument
from studio.records.services.sessions import session_update
from studio.web.access import STAFF, caller, open_to
from studio.web.both_values import sent_version
from studio.web.instruments import standing_of

CHANGED = "Somebody changed this session since you opened this page. What it says now is below: choose again."


@open_to(*STAFF)
def session_instruments(request: HttpRequest, session_id: UUID) -> HttpResponse:
    """The studio's instruments with a tick at those of the day; by POST the ticked ones are those."""
    visible = FieldSession.objects.visible_to(request.user).select_related("rider", "studio")
    session = get_object_or_404(visible, pk=session_id)
    if request.method != "POST":
        return _page(request, session)
    ticked = set(request.POST.getlist("instrument"))
    chosen = [one for one in Instrument.objects.visible_to(request.user) if str(one.pk) in ticked]
    version, by = sent_version(request.POST), caller(request).user
    try:
        session_update(record=session, by=by, version=version, changes={"instruments": chosen})
    except StaleVersion:
        return _page(request, session, CHANGED, 412)
    except RecordsError as refusal:
        return _page(request, session, refusal.message, 422)
    messages.success(request, "The day's instruments are entered.")
    return redirect("web:session", session.pk)


def _page(request: HttpRequest, session: FieldSession, refusal: str = "", status: int = 200) -> HttpResponse:
    named = set(session.instruments.values_list("pk", flat=True))
    every = Instrument.objects.visible_to(request.user).prefetch_related("calibrations")
    rows = [
        (one, standing_of(one, session.date), one.pk in named)
        for one in every.order_by("kind", "name", "serial")
        if one.retired_on is None or one.retired_on > session.date or one.pk in named
    ]
    facts = {"session": session, "rows": rows, "refusal": refusal}
    return render(request, "web/session-instruments.html", facts, status=status)

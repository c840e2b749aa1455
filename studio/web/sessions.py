"""The list of sessions, each with its answer in one line."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.db.models import F
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from analysis.results.models import Analysis, Job
from studio.records.models import FieldSession
from studio.web.access import READERS, is_staff, open_to
from studio.web.answers import briefly
from studio.web.jobs import UNFINISHED
from studio.web.turning import turned

NOT_ANALYSED = "Not analysed yet."


def newest_answers(request: HttpRequest, sessions: Iterable[FieldSession]) -> dict[UUID, tuple[UUID, list[str]]]:
    """For each analysed session the newest analysis and its answers, in one query that leaves the long parts behind."""
    newest = Analysis.objects.visible_to(request.user).filter(session__in=sessions, superseded_by=None)
    rows = newest.values("session_id", "pk", comparisons=F("result__comparisons"))
    return {row["session_id"]: (row["pk"], briefly(row["comparisons"])) for row in rows}


def row_of(session: FieldSession, answer: tuple[UUID, list[str]] | None) -> dict[str, Any]:
    """A line of the list; it leads to the answer where there is one."""
    if answer is None:
        return {"session": session, "address": reverse("web:session", args=[session.pk]), "answers": [NOT_ANALYSED]}
    return {"session": session, "address": reverse("web:result", args=[answer[0]]), "answers": answer[1]}


@open_to(*READERS)
def session_list(request: HttpRequest) -> HttpResponse:
    visible = FieldSession.objects.visible_to(request.user).select_related("rider", "course")
    sessions, turn = turned(request, visible)
    answers = newest_answers(request, sessions)
    staff = is_staff(request)
    at_work = Job.objects.visible_to(request.user).filter(state__in=UNFINISHED).count() if staff else 0
    shown = {
        "rows": [row_of(session, answers.get(session.pk)) for session in sessions],
        "turn": turn,
        "beyond_end": turn.newest and not sessions,
        "staff": staff,
        "at_work": at_work,
    }
    return render(request, "web/sessions.html", shown)

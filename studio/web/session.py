"""One session's records: who, where, what was compared, every run and every recording."""

from __future__ import annotations

from functools import partial
from uuid import UUID

from django.contrib import messages
from django.db.models import F
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.text import slugify

from analysis.jobs.enqueue import enqueue
from analysis.jobs.inputs import inputs_sha256
from analysis.jobs.previewing import date_note
from analysis.results.models import Acceptance, Analysis, Job
from analysis.results.offers import offers_of
from analysis.results.services.evidence import analysis_accept
from studio.records.errors import Unusable
from studio.records.models import FieldSession
from studio.records.services.bundles import bundle_export
from studio.records.store import spooled
from studio.web.access import READERS, STAFF, caller, is_staff, open_to
from studio.web.answers import sentences
from studio.web.jobs import UNFINISHED
from studio.web.side_by_side import side_by_side


@open_to(*READERS)
def session_page(request: HttpRequest, session_id: UUID) -> HttpResponse:
    visible = FieldSession.objects.visible_to(request.user).select_related("rider", "bike", "course", "fitter")
    session = get_object_or_404(visible, pk=session_id)
    links = list(session.setup_links.select_related("setup__position").prefetch_related("setup__slots__item__product"))
    facts = side_by_side([link.setup for link in links])
    recordings = list(session.recordings.order_by("filename"))
    analyses = list(
        Analysis.objects.visible_to(request.user)
        .filter(session=session)
        .annotate(superseded_number=F("supersedes__number"))
        .order_by("-number")
    )
    runs = list(session.runs.select_related("setup", "recording").order_by("number"))
    ridden = {run.setup_id for run in runs}
    at_work = Job.objects.visible_to(request.user).filter(session=session, state__in=UNFINISHED)
    shown = {
        "session": session,
        "staff": is_staff(request),
        "fitter": session.fitter_name or (session.fitter.get_username() if session.fitter else ""),
        "links": links,
        "facts": facts,
        "pieces": list(dict.fromkeys(slot.item for link in links for slot in link.setup.slots.all())),
        "differing": sum(row.differs for row in facts),
        "runs": runs,
        "ridden": [link.setup for link in links if link.setup_id in ridden],
        "empty": not (runs or recordings or analyses),
        "recordings": recordings,
        "date_notes": [note for one in recordings if (note := date_note(one, session))] if is_staff(request) else [],
        "weather": session.weather,
        "analyses": analyses,
        "outdated": bool(analyses) and is_staff(request) and outdated(session, analyses[0]),
        "analysis": analyses[0] if analyses else None,
        "acceptance": Acceptance.objects.filter(session=session).first(),
        "offers": offers_of(analyses[0]) if analyses and is_staff(request) else [],
        "answers": sentences(analyses[0].result) if analyses else [],
        "job_at_work": at_work.first(),
    }
    return render(request, "web/session.html", shown)


def outdated(session: FieldSession, analysis: Analysis) -> bool:
    """Whether the records say something else now than the analysis was made from."""
    try:
        return inputs_sha256(session) != analysis.inputs_sha256
    except Unusable:
        return True  # nothing could be analysed now: the last run that counted went, or lost its recording


@open_to(*STAFF)
def analyse(request: HttpRequest, session_id: UUID) -> HttpResponse:
    """Ask for an analysis; by GET (a sign-in came in between) nothing is asked."""
    session = get_object_or_404(FieldSession.objects.visible_to(request.user), pk=session_id)
    if request.method != "POST":
        return redirect("web:session", session.pk)
    payload = {"session": str(session.pk)}
    by = caller(request)
    job = enqueue(kind="analyse_session", studio=by.studio, by=by.user, payload=payload, session=session)
    return redirect("web:job", job.pk)


@open_to(*STAFF)
def accept(request: HttpRequest, session_id: UUID) -> HttpResponse:
    """Make the analysis that was read the session's word, while it is the newest; by GET nothing happens."""
    session = get_object_or_404(FieldSession.objects.visible_to(request.user), pk=session_id)
    newest = Analysis.objects.visible_to(request.user).filter(session=session).order_by("-number").first()
    if request.method != "POST" or newest is None:
        return redirect("web:session", session.pk)
    if request.POST.get("analysis") != str(newest.pk):
        messages.error(
            request, f"Not accepted: analysis {newest.number} came in since you opened the page. Read it first."
        )
        return redirect("web:session", session.pk)
    analysis_accept(analysis=newest, by=caller(request).user)
    return redirect("web:session", session.pk)


@open_to(*STAFF)
def bundle(request: HttpRequest, session_id: UUID) -> FileResponse:
    """The session as a zip that an import takes again."""
    session = get_object_or_404(FieldSession.objects.visible_to(request.user), pk=session_id)
    target = spooled(partial(bundle_export, session=session, by=caller(request).user))
    name = slugify(session.title) or "session"
    return FileResponse(target, as_attachment=True, filename=f"{name}-{session.date:%Y-%m-%d}.zip")

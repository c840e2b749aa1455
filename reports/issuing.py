"""The job that issues a report. The one clock of this room; everything after it is facts."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.utils import timezone

from analysis.results.models import Analysis
from analysis.results.services.attempts import Attempt
from analysis.results.services.evidence import accepts, analysis_accept
from reports.facts import freeze
from reports.render import render_pdf
from reports.selectors import next_number
from reports.services import report_store
from studio.records.errors import Conflict, Unusable

TRIES = 5


def issue_report(attempt: Attempt) -> dict[str, Any]:
    """Freeze, draw and keep a report on the analysis that the job names.

    The number stands on every page, so it is guessed before the drawing and checked under the studio's lock after it:
    no lock is held while pages are drawn, and no number is given twice or left out.
    """
    analysis = _analysis(attempt)
    for _ in range(TRIES - 1):
        try:
            return _issue(attempt, analysis)
        except Conflict:
            continue  # another report took the number meanwhile
    return _issue(attempt, analysis)


def _issue(attempt: Attempt, analysis: Analysis) -> dict[str, Any]:
    attempt.progress(0.2, "drawing the report")
    number, by = next_number(analysis.studio), attempt.job.requested_by
    facts = freeze(analysis=analysis, number=number, issued_by=by, issued_at=timezone.now())
    pdf = render_pdf(facts)
    attempt.progress(0.8, "keeping the report")
    with attempt.atomic():
        report = report_store(analysis=analysis, facts=facts, pdf=pdf, by=by)
        if accepts(analysis):  # what is handed over is the session's word, unless a newer analysis is already
            analysis_accept(analysis=analysis, by=by)
        result = {"report": str(report.pk)}
        attempt.done(result)  # report and end of the job are one fact: a second run issues no second report
    return result


def _analysis(attempt: Attempt) -> Analysis:
    named = str(attempt.job.payload.get("analysis", ""))
    try:
        found = Analysis.objects.filter(studio=attempt.job.studio, pk=UUID(named)).first()
    except ValueError:
        found = None
    if found is None:
        raise Unusable(f"No analysis {named!r} in this studio: name one that `analyses/` lists.")
    return found

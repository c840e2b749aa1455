"""The demo's jobs: each day written as a bundle and imported by the path of every upload; then the fitter accepts."""

from __future__ import annotations

import io
from datetime import date
from typing import Any

from analysis.jobs.demo_bundle import demo_bundle
from analysis.jobs.demo_world import DAYS, RIDERS
from analysis.jobs.importing import import_stored
from analysis.readers.bundle import write_bundle
from analysis.results.models import Analysis
from analysis.results.services.attempts import Attempt
from analysis.results.services.evidence import analysis_accept
from studio.records.models import FieldSession
from studio.records.store import discard_file, keep_file


def demo_session(attempt: Attempt) -> dict[str, Any]:
    """Make the day that the job's number names, import and analyse it."""
    number = int(attempt.job.payload["number"])
    attempt.progress(0.02, f"test day {number}: riding")
    archive = io.BytesIO()
    document, files = demo_bundle(number)
    write_bundle(document, files, archive)
    stored = keep_file(studio_id=attempt.job.studio_id, chunks=[archive.getvalue()])
    result = import_stored(attempt, stored.sha256)
    discard_file(studio_id=attempt.job.studio_id, sha256=stored.sha256)  # nobody sent it: no record names it
    return result


def demo_accepting(attempt: Attempt) -> dict[str, Any]:
    """Accept the analyses of the days that feed the standings, all at once: an edition of few riders shows little."""
    job = attempt.job
    dates = {(RIDERS[day.rider].code, date.fromisoformat(day.date)) for day in DAYS if day.accepted}
    sessions = FieldSession.objects.filter(studio=job.studio).select_related("rider")
    wanted = [s.pk for s in sessions if (s.rider.code, s.date) in dates]
    analyses = Analysis.objects.filter(session__in=wanted).order_by("number")
    newest = {analysis.session_id: analysis for analysis in analyses}
    with attempt.atomic():
        for analysis in newest.values():
            analysis_accept(analysis=analysis, by=job.requested_by)
        result = {"accepted": len(newest)}
        attempt.done(result)
    return result

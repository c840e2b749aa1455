"""Pages of the jobs: how far one is, what came of it, and the list of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from analysis.results.models import Job, JobState
from studio.web.access import STAFF, open_to
from studio.web.turning import turned

WHAT = {
    "import_bundle": "Reading in a session",
    "read_recording": "Reading a recording",
    "analyse_session": "Analysing a session",
    "issue_report": "Writing a report",
    "demo_session": "Making a demo session",
    "demo_accepting": "Accepting the demo's wheel tests",
}
STATES = {
    JobState.QUEUED: "Waiting for a worker",
    JobState.RUNNING: "At work",
    JobState.DONE: "Done",
    JobState.REFUSED: "Refused",
    JobState.FAILED: "Not finished",
}
UNFINISHED = (JobState.QUEUED, JobState.RUNNING)


@dataclass(frozen=True, slots=True)
class Way:
    """Where to go from here."""

    address: str
    words: str


def described(job: Job) -> dict[str, Any]:
    """A job in words."""
    about = job.payload.get("filename") or (str(job.session) if job.session else "")
    return {"job": job, "what": WHAT.get(job.kind, job.kind), "about": about, "state": STATES[JobState(job.state)]}


def ways_on(job: Job) -> list[Way]:
    """What to open after a job that has ended, the likeliest first."""
    result, ways = job.result or {}, []
    if "report" in result:
        ways.append(Way(reverse("web:report", args=[result["report"]]), "Download the report (PDF)"))
    if "analysis" in result:
        ways.append(Way(reverse("web:result", args=[result["analysis"]]), "See the answer"))
    elif "analysis" in job.payload:
        ways.append(Way(reverse("web:result", args=[job.payload["analysis"]]), "Back to the answer"))
    recording = result.get("recording") or job.payload.get("recording")
    if recording:
        ways.append(Way(reverse("web:recording", args=[recording]), "What was found in the file"))
    session = result.get("session") or job.session_id
    if session:
        ways.append(Way(reverse("web:session", args=[session]), "The session's records"))
    if job.kind == "import_bundle":
        ways.append(Way(reverse("web:upload"), "Upload another bundle"))
    return ways


@open_to(*STAFF)
def job_list(request: HttpRequest) -> HttpResponse:
    """The studio's jobs, newest first."""
    found, turn = turned(request, Job.objects.visible_to(request.user).select_related("requested_by", "session__rider"))
    rows = [described(job) for job in found]
    return render(request, "web/jobs.html", {"rows": rows, "turn": turn, "beyond_end": turn.newest and not rows})


@open_to(*STAFF)
def job_page(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """One job. Without JavaScript the page loads itself again; with it, a script asks the API and then reloads."""
    visible = Job.objects.visible_to(request.user).select_related("session__rider")
    job = get_object_or_404(visible, pk=job_id)
    facts = described(job) | {
        "unfinished": job.state in UNFINISHED,
        "percent": round(100 * job.progress),
        "problem": job.problem,
        "ways": ways_on(job),
    }
    return render(request, "web/job.html", facts)

"""`/metrics/` in the OpenMetrics text format, for an owner's token: gauges of that owner's studio, and of the machine.

All of it is read from rows and the disk at the moment of asking: web server and worker are several processes, and a
count that lives in one of them would be wrong for all.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Iterator
from datetime import datetime
from itertools import product

from django.conf import settings
from django.db.models import Count, Min
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.views.decorators.http import require_safe
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from analysis.results.models import Job, JobState
from studio.api.authentication import BearerAuthentication
from studio.api.problems import CONTENT_TYPE as PROBLEM_TYPE
from studio.records.models import FieldSession, Recording, RecordingState, Role, TokenKind, TokenScope, User
from studio.records.problems import problem
from studio.records.querysets import membership_of

CONTENT_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"
UNENDED = (JobState.QUEUED, JobState.RUNNING)

Sample = tuple[dict[str, str], float]


@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """The gauges, for an owner's token; anybody else is told why not."""
    user = token_bearer(request)
    if user is None:
        answer: HttpResponse = refusal("sign-in", "The metrics need `Authorization: Bearer` with an owner's token.")
        answer["WWW-Authenticate"] = 'Bearer realm="studio"'
    elif (membership := membership_of(user)) is None or membership.role != Role.OWNER:
        answer = refusal("not-allowed", "Only an owner's token reads the metrics.")
    else:
        answer = HttpResponse("".join(f"{line}\n" for line in exposition(user)), content_type=CONTENT_TYPE)
    answer["Cache-Control"] = "no-store"
    return answer


class MetricsAuthentication(BearerAuthentication):
    """Also takes the kind of token that opens nothing else."""

    kinds = (TokenKind.API, TokenKind.METRICS)


def token_bearer(request: HttpRequest) -> User | None:
    """Whose token came along, if it may read."""
    try:
        found = MetricsAuthentication().authenticate(Request(request))
    except AuthenticationFailed:
        return None
    if found is None or (found[1].kind == TokenKind.API and TokenScope.READ not in found[1].scopes):
        return None
    return found[0]


def refusal(slug: str, detail: str) -> JsonResponse:
    """A problem document."""
    document = problem(slug, detail)
    return JsonResponse(document, status=document["status"], content_type=PROBLEM_TYPE)


def exposition(user: User) -> Iterator[str]:
    """Every line that the owner's studio has to say."""
    rows = Job.objects.visible_to(user).order_by().values_list("state", "kind").annotate(Count("id"), Min("created_at"))
    jobs = {(state, kind): (count, oldest) for state, kind, count, oldest in rows}
    now = timezone.now()
    yield from gauge("jobs", "Jobs by state and kind.", job_counts(jobs))
    yield from gauge("job_oldest_seconds", "Age of the oldest unended job, 0 without one.", job_ages(jobs, now))
    recordings = Recording.objects.visible_to(user).order_by().values_list("state").annotate(Count("id"))
    states = dict.fromkeys(RecordingState.values, 0) | dict(recordings)
    yield from gauge("recordings", "Recordings by state.", [({"state": key}, n) for key, n in states.items()])
    yield from gauge("sessions", "Sessions.", [({}, FieldSession.objects.visible_to(user).count())])
    free = shutil.disk_usage(settings.STUDIO_DATA).free
    yield from gauge("disk_free_bytes", "Room on the disk of the data folder.", [({}, free)])
    yield from gauge("release_info", "The release that runs.", [({"version": settings.RELEASE}, 1)], kind="info")
    yield "# EOF"


def job_counts(jobs: dict[tuple[str, str], tuple[int, datetime]]) -> Iterator[Sample]:
    """One sample for every state and kind, also those without a job: what is missing cannot be watched."""
    for state, kind in product(JobState.values, settings.JOB_HANDLERS):
        yield {"state": state, "kind": kind}, jobs[state, kind][0] if (state, kind) in jobs else 0


def job_ages(jobs: dict[tuple[str, str], tuple[int, datetime]], now: datetime) -> Iterator[Sample]:
    """For how long the oldest job of each kind has waited or run, since it was asked for."""
    for state, kind in product(UNENDED, settings.JOB_HANDLERS):
        age = (now - jobs[state, kind][1]).total_seconds() if (state, kind) in jobs else 0
        yield {"state": state, "kind": kind}, age


def gauge(name: str, says: str, samples: Iterable[Sample], kind: str = "gauge") -> Iterator[str]:
    """A metric family; the values of its labels are words of the house and need no escaping."""
    full = f"windledger_{name}"
    family = full.removesuffix("_info")
    yield f"# TYPE {family} {kind}"
    unit = name.rpartition("_")[2]
    if unit in {"seconds", "bytes"}:
        yield f"# UNIT {family} {unit}"
    yield f"# HELP {family} {says}"
    for labels, value in samples:
        inner = ",".join(f'{key}="{text}"' for key, text in labels.items())
        yield f"{full}{{{inner}}} {value}" if inner else f"{full} {value}"

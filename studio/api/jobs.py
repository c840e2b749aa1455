"""Jobs: what was asked, how far it is, and what came of it. Nobody makes one here: other routes answer with one."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from django.http import HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django_filters import rest_framework as filters
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from analysis.jobs.enqueue import enqueue
from analysis.results.models import Job, JobState
from studio.api.base import ReadViewSet, address_of, caller, studio_of
from studio.api.filters import StudioFilters
from studio.api.shapes import ModelShape
from studio.api.streams import JobStream, event_id, has_left
from studio.records.models import ApiToken, FieldSession
from studio.records.services.tokens import is_in_force


class JobOut(ModelShape[Job]):
    result = serializers.DictField(allow_null=True, help_text="ids of what came of it, once `state` is `done`")
    problem = serializers.DictField(allow_null=True, help_text="a problem document, once `state` is `refused`")

    class Meta:
        model = Job
        fields = ("id", "kind", "session", "state", "progress", "message", "result", "problem", "created_at")


EVENT = {
    "type": "object",
    "description": "an event; its `data` is the job, as its own address gives it",
    "properties": {"id": {"type": "string"}, "event": {"type": "string", "const": "job"}, "data": {"type": "string"}},
}


class JobFilters(StudioFilters):
    state = filters.ChoiceFilter(choices=JobState.choices)
    session = filters.UUIDFilter(field_name="session_id")


class EventStream(JSONRenderer):
    """Lets a caller ask for the stream's type; refusals are still problem documents."""

    media_type = "text/event-stream"
    format = "events"


def answer_with_job(
    request: Request, *, kind: str, payload: Mapping[str, Any], session: FieldSession | None = None
) -> Response:
    """Enqueue the work and answer 202 with its job."""
    job = enqueue(kind=kind, studio=studio_of(request), by=caller(request), payload=payload, session=session)
    headers = {"Location": address_of("jobs", job.pk)}
    return Response(JobOut(job).data, status=status.HTTP_202_ACCEPTED, headers=headers)


def job_document(job: Job) -> str:
    """The job as one line of JSON, the same as its own address gives."""
    return json.dumps(json.loads(JSONRenderer().render(JobOut(job).data)), separators=(",", ":"))


class JobViewSet(ReadViewSet[Job]):
    route = "jobs"
    queryset = Job.objects.defer("payload", "traceback")
    out, filterset_class = JobOut, JobFilters

    @extend_schema(
        parameters=[OpenApiParameter("Last-Event-ID", str, OpenApiParameter.HEADER)],
        responses={
            (200, "text/event-stream"): OpenApiResponse(EVENT, "one `job` event for every change"),
            204: OpenApiResponse(None, "the job is over and its last event was received"),
        },
    )
    @action(detail=True, renderer_classes=[JSONRenderer, EventStream])
    def events(self, request: Request, pk: str) -> HttpResponseBase:
        """The job's progress as server-sent events; ends after 60 s and resumes by Last-Event-ID."""
        job = self.get_object()
        seen = request.headers.get("Last-Event-ID", "")
        if job.ended_at is not None and seen == event_id(job_document(job)):
            return HttpResponse(status=status.HTTP_204_NO_CONTENT)
        if request.method == "HEAD":
            return HttpResponse(content_type="text/event-stream")
        socket = request.META.get("gunicorn.socket")  # other servers do not show theirs
        stream = JobStream(
            read=lambda: job_document(self.get_object()),
            seen=seen,
            left=lambda: has_left(socket) or self._was_revoked(),
        )
        headers = {"X-Accel-Buffering": "no", "Cache-Control": "private, no-store, no-transform"}
        return StreamingHttpResponse(stream, content_type="text/event-stream", headers=headers)

    def _was_revoked(self) -> bool:
        """Whether the caller's token ended while the stream ran: then so does the stream, and a new one is 401."""
        return isinstance(self.request.auth, ApiToken) and not is_in_force(self.request.auth)

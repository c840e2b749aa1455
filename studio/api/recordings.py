"""Recordings: the uploaded bytes and what a job read from them. The bytes never change; a wrong file is another one.

Several come at once, all or none; a preview says what is in one, a cut makes its parts runs.
"""

from __future__ import annotations

from pathlib import PurePath
from typing import Any
from uuid import UUID

from django.core.files.uploadedfile import UploadedFile
from django_filters import rest_framework as filters
from drf_spectacular.utils import PolymorphicProxySerializer, extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from analysis.jobs.enqueue import enqueue
from analysis.jobs.previewing import found_in
from analysis.results.models import Job
from studio.api.base import RemovableViewSet, address_of, caller, studio_of
from studio.api.etags import etag_of
from studio.api.filters import StudioFilters
from studio.api.jobs import JobOut, answer_with_job
from studio.api.parsers import CHUNK, StrictJSONParser, refuse_large_upload
from studio.api.previews import PreviewOut
from studio.api.rows import shown_records
from studio.api.runs import Cut, RunOut
from studio.api.shapes import ModelShape, Reference, StrictModelSerializer, StrictSerializer
from studio.records.models import FieldSession, Recording, RecordingState, Run, Setup
from studio.records.services.cutting import recording_cut
from studio.records.services.recordings import recording_delete, recordings_store

MOST_FILES = 100
MOST_CUTS = 400

FIELDS = (
    "id",
    "session",
    "filename",
    "sha256",
    "size_bytes",
    "state",
    "format",
    "device",
    "mapping",
    "channels",
    "laps",
    "samples",
    "started_at",
    "ended_at",
    "findings",
    "problem",
    "created_at",
    "updated_at",
)


class RecordingIn(StrictSerializer):
    session = Reference(FieldSession)
    file = serializers.ListField(
        child=serializers.FileField(allow_empty_file=True),
        min_length=1,
        max_length=MOST_FILES,
        help_text="one file, or the field several times: then all are kept or none",
    )


class RecordingOut(ModelShape[Recording]):
    device = serializers.DictField()
    mapping = serializers.DictField(help_text="the studio's own rules that it was read by")
    channels = serializers.ListField(child=serializers.CharField())
    findings = serializers.ListField(child=serializers.JSONField())
    problem = serializers.DictField(allow_null=True, help_text="a problem document where the file could not be read")

    class Meta:
        model = Recording
        fields = FIELDS


class RecordingMade(serializers.Serializer[Any]):
    """The recording, and who reads it."""

    job = serializers.UUIDField(help_text="id of the job that reads the file")

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        return RecordingOut().get_fields() | super().get_fields()


class RecordingsMade(serializers.Serializer[Any]):
    """The answer to several files at once, in the order in which they came."""

    recordings = RecordingMade(many=True)


class CutIn(Cut, StrictModelSerializer[Run]):
    """One part of the recording: a lap, or times; without either the whole of it."""

    setup = Reference(Setup)

    class Meta:
        model = Run
        fields = ("setup", "lap", "left_out", "note")


class CutsIn(StrictSerializer):
    runs = serializers.ListField(child=CutIn(), min_length=1, max_length=MOST_CUTS)


class CutsOut(serializers.Serializer[Any]):
    runs = RunOut(many=True)


class RecordingFilters(StudioFilters):
    session = filters.UUIDFilter(field_name="session_id")
    state = filters.ChoiceFilter(choices=RecordingState.choices)


MADE = PolymorphicProxySerializer("RecordingOrRecordingsMade", [RecordingMade, RecordingsMade], None)


class RecordingViewSet(RemovableViewSet[Recording]):
    route = "recordings"
    queryset = Recording.objects.all()
    parser_classes = [MultiPartParser]
    out, filterset_class = RecordingOut, RecordingFilters
    record_delete = staticmethod(recording_delete)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        refuse_large_upload(request)
        super().initial(request, *args, **kwargs)

    @extend_schema(request={"multipart/form-data": RecordingIn}, responses={201: MADE})
    def create(self, request: Request) -> Response:
        """Keep a file of a session; the `job` in the answer reads it. Several `file` give `recordings`."""
        serializer = RecordingIn(data=request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        files: list[UploadedFile[Any]] = serializer.validated_data["file"]
        session: FieldSession = serializer.validated_data["session"]
        session.studio = studio_of(request)  # the same, without asking for it again
        named = [(PurePath(file.name or "recording").name, file.chunks(CHUNK)) for file in files]
        jobs: dict[UUID, Job] = {}

        def read(recording: Recording) -> None:
            jobs[recording.pk] = self._reading(request, recording, session)

        recordings = recordings_store(session=session, files=named, by=caller(request), entered=read)
        shown = shown_records(RecordingOut, recordings, request.user)
        made = [{**row, "job": jobs[one.pk].pk} for row, one in zip(shown, recordings, strict=True)]
        if len(made) == 1:
            headers = {"Location": address_of("recordings", recordings[0].pk), "ETag": etag_of(recordings[0])}
            return Response(made[0], status=status.HTTP_201_CREATED, headers=headers)
        headers = {"Location": f"{reverse('api:recordings-list')}?session={session.pk}"}
        return Response({"recordings": made}, status=status.HTTP_201_CREATED, headers=headers)

    def _reading(self, request: Request, recording: Recording, session: FieldSession) -> Job:
        payload = {"recording": str(recording.pk)}
        by = caller(request)
        return enqueue(kind="read_recording", studio=studio_of(request), by=by, payload=payload, session=session)

    @extend_schema(responses=PreviewOut)
    @action(detail=True)
    def preview(self, request: Request, pk: str) -> Response:
        """What was found in it: channels, spans, gaps, laps, zone, device, and the runs that it may hold."""
        return Response(found_in(self.get_object()))

    @extend_schema(request=None, responses={202: JobOut})
    @action(detail=True, methods=["post"], parser_classes=[StrictJSONParser])
    def read(self, request: Request, pk: str) -> Response:
        """Read it again by the mapping that the studio remembers now; where that fails, what was read before stays."""
        recording = self.get_object()
        payload = {"recording": str(recording.pk), "again": True}
        return answer_with_job(request, kind="read_recording", payload=payload, session=recording.session)

    @extend_schema(request=CutsIn, responses={201: CutsOut})
    @action(detail=True, methods=["post"], parser_classes=[StrictJSONParser])
    def cut(self, request: Request, pk: str) -> Response:
        """Make its parts runs, each with its setup, all or none; they get the session's next numbers in this order."""
        recording = self.get_object()
        serializer = CutsIn(data=request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        runs = recording_cut(recording=recording, cuts=serializer.validated_data["runs"], by=caller(request))
        headers = {"Location": f"{reverse('api:runs-list')}?recording={recording.pk}"}
        return Response({"runs": RunOut(runs, many=True).data}, status=status.HTTP_201_CREATED, headers=headers)

"""Recordings: the uploaded bytes and what a job read from them. The bytes never change; a wrong file is another one."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from analysis.jobs.enqueue import enqueue
from studio.api.base import RemovableViewSet, address_of, caller, studio_of
from studio.api.etags import etag_of
from studio.api.filters import StudioFilters
from studio.api.parsers import refuse_large_upload
from studio.api.shapes import ModelShape, Reference, StrictSerializer
from studio.records.models import FieldSession, Recording, RecordingState
from studio.records.services.recordings import recording_delete, recording_store

FIELDS = (
    "id",
    "session",
    "filename",
    "sha256",
    "size_bytes",
    "state",
    "format",
    "device",
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
    file = serializers.FileField(allow_empty_file=True)


class RecordingOut(ModelShape[Recording]):
    device = serializers.DictField()
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


class RecordingFilters(StudioFilters):
    session = filters.UUIDFilter(field_name="session_id")
    state = filters.ChoiceFilter(choices=RecordingState.choices)


class RecordingViewSet(RemovableViewSet[Recording]):
    route = "recordings"
    queryset = Recording.objects.all()
    parser_classes = [MultiPartParser]
    out, filterset_class = RecordingOut, RecordingFilters
    record_delete = staticmethod(recording_delete)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        refuse_large_upload(request)
        super().initial(request, *args, **kwargs)

    @extend_schema(request={"multipart/form-data": RecordingIn}, responses={201: RecordingMade})
    def create(self, request: Request) -> Response:
        """Keep a file of a session; the `job` in the answer reads it."""
        serializer = RecordingIn(data=request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        file: UploadedFile[Any] = serializer.validated_data["file"]
        session: FieldSession = serializer.validated_data["session"]
        recording = recording_store(
            session=session,
            filename=PurePath(file.name or "recording").name,
            chunks=file.chunks(),
            by=caller(request),
        )
        payload = {"recording": str(recording.pk)}
        job = enqueue(
            kind="read_recording", studio=studio_of(request), by=caller(request), payload=payload, session=session
        )
        headers = {"Location": address_of("recordings", recording.pk), "ETag": etag_of(recording)}
        return Response({**self.shown(recording), "job": job.pk}, status=status.HTTP_201_CREATED, headers=headers)

"""Bundles: a session comes in as a zip. The file is kept, a job reads it and says what is wrong inside."""

from __future__ import annotations

import zipfile
from pathlib import PurePath
from typing import Any

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from analysis.readers.faults import Fault, shown
from studio.api.base import StudioView, studio_of
from studio.api.jobs import JobOut, answer_with_job
from studio.api.parsers import refuse_large_upload
from studio.api.problems import WrongMediaType
from studio.api.shapes import StrictSerializer
from studio.records.errors import TooLarge
from studio.records.store import FileTooLarge, keep_file


class BundleIn(StrictSerializer):
    bundle = serializers.FileField(allow_empty_file=True, help_text="a zip with `session.json` and its recordings")


class BundlesView(StudioView):
    route = "bundles"
    parser_classes = [MultiPartParser]

    def initial(self, request: Request, *args: object, **kwargs: object) -> None:
        refuse_large_upload(request)
        super().initial(request, *args, **kwargs)

    @extend_schema(request={"multipart/form-data": BundleIn}, responses={202: JobOut})
    def post(self, request: Request) -> Response:
        """Bring a session in; the job's `result` is `{"session": id, "analysis": id}`."""
        serializer = BundleIn(data=request.data)
        serializer.is_valid(raise_exception=True)
        file: UploadedFile[Any] = serializer.validated_data["bundle"]
        name = PurePath(file.name or "bundle.zip").name
        if not zipfile.is_zipfile(file):
            file.seek(0)
            given = f"{file.size} bytes that begin {shown(file.read(8).decode(errors='replace'))}"
            fault = Fault(file=name, key="bundle", given=given, allowed="a whole zip")
            raise WrongMediaType("The bundle is not a zip, or not a whole one.", (fault,))
        file.seek(0)
        try:
            kept = keep_file(studio_id=studio_of(request).pk, chunks=file.chunks(), max_bytes=settings.UPLOAD_MAX_BYTES)
        except FileTooLarge:
            raise TooLarge(f"{name} is too large; allowed are {settings.UPLOAD_MAX_BYTES} bytes.") from None
        return answer_with_job(request, kind="import_bundle", payload={"sha256": kept.sha256, "filename": name})

"""Reports: asked for by a POST, issued by a job, handed over as the bytes that were issued."""

from __future__ import annotations

from django.db import models
from django.http import HttpResponse
from django_filters import rest_framework as filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from analysis.results.models import Analysis
from reports.models import Report
from studio.api.base import ReadViewSet
from studio.api.filters import StudioFilters
from studio.api.jobs import JobOut, answer_with_job
from studio.api.shapes import ModelShape, Reference, StrictSerializer


class ReportIn(StrictSerializer):
    analysis = Reference(Analysis)


class ReportOut(ModelShape[Report]):
    class Meta:
        model = Report
        fields = ("id", "analysis", "number", "wording", "pdf_sha256", "issued_by", "issued_at")


class ReportFilters(StudioFilters):
    analysis = filters.UUIDFilter(field_name="analysis_id")
    session = filters.UUIDFilter(field_name="analysis__session_id")


class Pdf(JSONRenderer):
    """Lets a caller ask for the file's type; refusals are still problem documents."""

    media_type = "application/pdf"
    format = "pdf"


class ReportViewSet(ReadViewSet[Report]):
    route = "reports"
    queryset = Report.objects.all()
    out, filterset_class = ReportOut, ReportFilters

    def get_queryset(self) -> models.QuerySet[Report]:
        rows = super().get_queryset().defer("facts")
        return rows if self.action == "pdf" else rows.defer("facts", "pdf")

    @extend_schema(request=ReportIn, responses={202: JobOut})
    def create(self, request: Request) -> Response:
        """Ask for a report of an analysis; the job's `result` is `{"report": id}`."""
        serializer = ReportIn(data=request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        analysis: Analysis = serializer.validated_data["analysis"]
        payload = {"analysis": str(analysis.pk)}
        return answer_with_job(request, kind="issue_report", payload=payload, session=analysis.session)

    @extend_schema(responses={(200, "application/pdf"): OpenApiResponse(OpenApiTypes.BINARY, "the report")})
    @action(detail=True, renderer_classes=[JSONRenderer, Pdf])
    def pdf(self, request: Request, pk: str) -> HttpResponse:
        """The file as it was issued."""
        report = self.get_object()
        headers = {"Content-Disposition": f'attachment; filename="report-{report.number}.pdf"'}
        return HttpResponse(bytes(report.pdf), content_type="application/pdf", headers=headers)

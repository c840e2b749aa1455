"""Analyses: what the engine said of a session, as it said it. Immutable; the newest of a session comes first."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from analysis.results.models import Acceptance, Analysis
from analysis.results.offers import offers_of
from analysis.results.services.evidence import analysis_accept
from studio.api.base import ReadViewSet, caller
from studio.api.filters import StudioFilters
from studio.api.shapes import ModelShape

FIELDS = ("id", "session", "number", "inputs_sha256", "engine_version", "supersedes", "created_at")


class AnalysisInList(ModelShape[Analysis]):
    class Meta:
        model = Analysis
        fields = FIELDS


class AnalysisOut(ModelShape[Analysis]):
    result = serializers.DictField(help_text="a session result, `session-result/1`")

    class Meta:
        model = Analysis
        fields = (*FIELDS, "result")


class OfferOut(serializers.Serializer[Any]):
    reference = serializers.CharField(help_text="label of the reference setup")
    changed = serializers.CharField(help_text="label of the changed setup")
    category = serializers.CharField(allow_null=True)
    before = serializers.UUIDField(source="before_id", allow_null=True, help_text="the reference's product")
    after = serializers.UUIDField(source="after_id", allow_null=True, help_text="the changed setup's product")
    excluded = serializers.CharField(allow_null=True, help_text="why it counts for no product; null: its arms count")


class EvidenceOut(serializers.Serializer[Analysis]):
    analysis = serializers.UUIDField(source="pk")
    accepted_at = serializers.SerializerMethodField()
    comparisons = serializers.SerializerMethodField()

    def get_accepted_at(self, analysis: Analysis) -> datetime | None:
        return Acceptance.objects.filter(analysis=analysis).values_list("accepted_at", flat=True).first()

    @extend_schema_field(OfferOut(many=True))
    def get_comparisons(self, analysis: Analysis) -> list[Any]:
        return list(OfferOut(offers_of(analysis), many=True).data)


class AnalysisFilters(StudioFilters):
    session = filters.UUIDFilter(field_name="session_id")


class AnalysisViewSet(ReadViewSet[Analysis]):
    route = "analyses"
    queryset = Analysis.objects.all()
    out, list_out, filterset_class = AnalysisOut, AnalysisInList, AnalysisFilters

    @extend_schema(responses=EvidenceOut)
    @action(detail=True)
    def evidence(self, request: Request, pk: str) -> Response:
        """Which comparisons count for their products over all riders, and why the others do not."""
        return Response(EvidenceOut(self.get_object()).data)

    @extend_schema(request=None, responses=EvidenceOut)
    @action(detail=True, methods=["post"])
    def accept(self, request: Request, pk: str) -> Response:
        """Make it the session's word: its clean arms count from now on. Issuing a report does the same."""
        analysis = self.get_object()
        analysis_accept(analysis=analysis, by=caller(request))
        return Response(EvidenceOut(analysis).data)

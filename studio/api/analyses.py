"""Analyses: what the engine said of a session, as it said it. Immutable; the newest of a session comes first."""

from __future__ import annotations

from django_filters import rest_framework as filters
from rest_framework import serializers

from analysis.results.models import Analysis
from studio.api.base import ReadViewSet
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


class AnalysisFilters(StudioFilters):
    session = filters.UUIDFilter(field_name="session_id")


class AnalysisViewSet(ReadViewSet[Analysis]):
    route = "analyses"
    queryset = Analysis.objects.all()
    out, list_out, filterset_class = AnalysisOut, AnalysisInList, AnalysisFilters

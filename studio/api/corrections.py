"""Corrections: what was put right in sessions, with both values. None is made here: the acts themselves make them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.utils import timezone
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from studio.api.base import ReadViewSet, caller
from studio.api.filters import StudioFilters
from studio.api.shapes import ModelShape
from studio.records.models import Correction, CorrectionKind
from studio.records.services.undoing import correction_undo, may_be_undone


class CorrectionOut(ModelShape[Correction]):
    session = serializers.UUIDField(source="session_key", help_text="the session; it may be deleted")
    changes = serializers.DictField(help_text="`runs` with `before` and `after`, `links`, or what was `deleted`")
    made_by = serializers.CharField(source="made_by.username", default=None, allow_null=True)
    undone_by = serializers.CharField(source="undone_by.username", default=None, allow_null=True)
    may_be_undone = serializers.SerializerMethodField()

    class Meta:
        model = Correction
        fields = (
            "id",
            "kind",
            "session",
            "session_name",
            "reason",
            "changes",
            "made_by",
            "created_at",
            "undone_at",
            "undone_by",
            "may_be_undone",
        )

    more_columns = ("made_by__username", "undone_by__username", "studio__timezone")

    @classmethod
    def more_of(cls, rows: Sequence[Mapping[str, Any]]) -> Mapping[Any, Mapping[str, Any]]:
        return {
            row["id"]: {
                "made_by": row["made_by__username"],
                "undone_by": row["undone_by__username"],
                "may_be_undone": _open(row["created_at"], row["undone_at"], row["studio__timezone"]),
            }
            for row in rows
        }

    def get_may_be_undone(self, correction: Correction) -> bool:
        return _open(correction.created_at, correction.undone_at, correction.studio.timezone)


def _open(made: datetime, undone: datetime | None, zone: str) -> bool:
    return may_be_undone(made=made, undone=undone, zone=zone, now=timezone.now())


class CorrectionFilters(StudioFilters):
    session = filters.UUIDFilter(field_name="session_key")
    kind = filters.ChoiceFilter(choices=CorrectionKind.choices)


class CorrectionViewSet(ReadViewSet[Correction]):
    route = "corrections"
    queryset = Correction.objects.select_related("studio", "made_by", "undone_by")
    out, filterset_class = CorrectionOut, CorrectionFilters

    @extend_schema(request=None, responses=CorrectionOut)
    @action(detail=True, methods=["post"])
    def undo(self, request: Request, pk: str) -> Response:
        """Put back what it changed: on the same day of the studio, and only while nobody built on it (else 409)."""
        correction_undo(correction=self.get_object(), by=caller(request))
        return Response(self.shown(self.get_object()))

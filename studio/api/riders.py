"""Riders. Health notes are for fitters and owners only."""

from __future__ import annotations

from collections.abc import Collection
from functools import partial
from typing import Any, ClassVar

from django.http import FileResponse
from django_filters import rest_framework as filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request

from reports.taking_along import rider_export
from studio.api.base import RecordViewSet, caller
from studio.api.filters import StudioFilters
from studio.api.shapes import ModelShape, StrictModelSerializer
from studio.api.zips import Zip
from studio.records.models import Rider, Role
from studio.records.querysets import membership_of
from studio.records.services.people import rider_create, rider_delete, rider_update
from studio.records.store import spooled

FIELDS = (
    "code",
    "given_names",
    "family_name",
    "birth_year",
    "height_cm",
    "contact",
    "health_notes",
    "guardian_name",
    "guardian_agreed_on",
)


class RiderIn(StrictModelSerializer[Rider]):
    class Meta:
        model = Rider
        fields = FIELDS


class RiderOut(ModelShape[Rider]):
    class Meta:
        model = Rider
        fields = ("id", *FIELDS, "created_at", "updated_at")
        extra_kwargs: ClassVar[dict[str, Any]] = {
            "health_notes": {"required": False, "help_text": "Only in answers to fitters and owners."}
        }

    @classmethod
    def hidden_from(cls, user: object) -> Collection[str]:
        membership = membership_of(user)
        staff = membership is not None and membership.role in (Role.OWNER, Role.FITTER)
        return () if staff else ("health_notes",)

    def to_representation(self, instance: Rider) -> dict[str, Any]:
        shown: dict[str, Any] = super().to_representation(instance)
        for key in self.hidden_from(self.context["request"].user):
            del shown[key]
        return shown


class RiderFilters(StudioFilters):
    code = filters.CharFilter()


class RiderViewSet(RecordViewSet[Rider]):
    route = "riders"
    queryset = Rider.objects.all()
    into, out, filterset_class = RiderIn, RiderOut, RiderFilters
    record_create = staticmethod(rider_create)
    record_update = staticmethod(rider_update)
    record_delete = staticmethod(rider_delete)

    @extend_schema(responses={(200, "application/zip"): OpenApiResponse(OpenApiTypes.BINARY, "all that is kept")})
    @action(detail=True, renderer_classes=[JSONRenderer, Zip])
    def export(self, request: Request, pk: str) -> FileResponse:
        """All that the studio holds of the rider in one zip: records, sessions as bundles, results and reports."""
        rider = self.get_object()
        file = spooled(partial(rider_export, rider=rider, by=caller(request)))
        return FileResponse(file, as_attachment=True, filename="my-data.zip", content_type="application/zip")

"""Test sessions: one rider, one bike, one course, one day; asked to be analysed, and given back as a bundle."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any
from uuid import UUID

from django.http import FileResponse
from django_filters import rest_framework as filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from studio.api.base import RecordViewSet, address_of, caller
from studio.api.etags import etag_of
from studio.api.filters import StudioFilters
from studio.api.jobs import JobOut, answer_with_job
from studio.api.mending import MendIn, asked
from studio.api.setups import SetupOut
from studio.api.shapes import InstantText, ModelShape, NumberField, Reference, StrictModelSerializer, StrictSerializer
from studio.api.zips import Zip
from studio.records.models import Bike, Course, FieldSession, Instrument, Rider, SessionSetup, Setup
from studio.records.services.bundles import bundle_export
from studio.records.services.mending import setup_mend
from studio.records.services.sessions import session_create, session_delete, session_update
from studio.records.store import spooled

COLUMNS = (
    "rider",
    "bike",
    "course",
    "title",
    "date",
    "timezone",
    "note",
    "plan",
    "weather",
    "rider_mass_kg",
    "system_mass_kg",
    "smallest_difference_m2",
)
FIELDS = (*COLUMNS, "fitter", "assumed", "repeatability", "setups", "reference", "instruments")


class Weather(StrictSerializer):
    time = InstantText()
    temperature_c = NumberField(required=False)
    pressure_hpa = NumberField(required=False, help_text="station pressure, never reduced to sea level")
    humidity_pct = NumberField(required=False)


class Assumed(StrictSerializer):
    crr = NumberField(source="assumed_crr", required=False, allow_null=True)
    drivetrain_efficiency = NumberField(source="assumed_drivetrain_efficiency", required=False, allow_null=True)


class Repeatability(StrictSerializer):
    sd_m2 = NumberField(source="repeatability_sd_m2", required=False, allow_null=True)
    df = NumberField(source="repeatability_df", required=False, allow_null=True)


class SessionIn(StrictModelSerializer[FieldSession]):
    rider = Reference(Rider)
    bike = Reference(Bike)
    course = Reference(Course)
    fitter = serializers.CharField(source="fitter_name", required=False, allow_blank=True, max_length=200)
    plan = serializers.DictField(required=False)
    weather = serializers.ListField(child=Weather(), required=False)
    assumed = Assumed(source="*", required=False)
    repeatability = Repeatability(source="*", required=False)
    setups = serializers.ListField(child=Reference(Setup), required=False, help_text="in the order of the plan")
    reference = Reference(Setup, required=False, allow_null=True, help_text="one of `setups`; null: the first")
    instruments = serializers.ListField(child=Reference(Instrument), required=False)

    class Meta:
        model = FieldSession
        fields = FIELDS


class SessionOut(ModelShape[FieldSession]):
    fitter = serializers.CharField(source="fitter_name")
    plan = serializers.DictField()
    weather = serializers.ListField(child=serializers.DictField())
    assumed = Assumed(source="*")
    repeatability = Repeatability(source="*")
    setups = serializers.SerializerMethodField()
    reference = serializers.SerializerMethodField()

    class Meta:
        model = FieldSession
        fields = ("id", *FIELDS, "created_at", "updated_at")

    @classmethod
    def more_of(cls, rows: Sequence[Mapping[str, Any]]) -> Mapping[Any, Mapping[str, Any]]:
        more: dict[Any, dict[str, Any]] = {
            row["id"]: {"setups": [], "reference": None, "instruments": []} for row in rows
        }
        links = SessionSetup.objects.filter(session__in=list(more)).order_by("order")
        for session, setup, reference in links.values_list("session_id", "setup_id", "reference"):
            more[session]["setups"].append(str(setup))
            if reference or more[session]["reference"] is None:
                more[session]["reference"] = str(setup)
        used = FieldSession.instruments.through.objects.filter(fieldsession__in=list(more)).order_by("-instrument_id")
        for session, instrument in used.values_list("fieldsession_id", "instrument_id"):
            more[session]["instruments"].append(str(instrument))
        return more

    def get_setups(self, session: FieldSession) -> list[UUID]:
        return [link.setup_id for link in session.setup_links.all()]

    def get_reference(self, session: FieldSession) -> UUID | None:
        links = session.setup_links.all()
        chosen = [link for link in links if link.reference] or list(links)
        return chosen[0].setup_id if chosen else None


class SessionFilters(StudioFilters):
    rider = filters.UUIDFilter(field_name="rider_id")
    bike = filters.UUIDFilter(field_name="bike_id")
    course = filters.UUIDFilter(field_name="course_id")
    date = filters.DateFilter()


class SessionViewSet(RecordViewSet[FieldSession]):
    route = "sessions"
    queryset = FieldSession.objects.prefetch_related("setup_links", "instruments")
    into, out, filterset_class = SessionIn, SessionOut, SessionFilters
    record_create = staticmethod(session_create)
    record_update = staticmethod(session_update)
    record_delete = staticmethod(session_delete)

    @extend_schema(request=MendIn, responses={201: SetupOut})
    @action(detail=True, methods=["post"])
    def mend(self, request: Request, pk: str) -> Response:
        """Mend a setup that was entered wrong: a new one takes its runs, and its place when all of them move."""
        session = self.get_object()
        serializer = MendIn(data=request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        setup = setup_mend(session=session, by=caller(request), **asked(dict(serializer.validated_data)))
        headers = {"Location": address_of("setups", setup.pk), "ETag": etag_of(setup)}
        return Response(SetupOut(setup).data, status=status.HTTP_201_CREATED, headers=headers)

    @extend_schema(request=None, responses={202: JobOut})
    @action(detail=True, methods=["post"])
    def analyse(self, request: Request, pk: str) -> Response:
        """Ask for the session's drag areas; the job's `result` is `{"analysis": id}`."""
        session = self.get_object()
        return answer_with_job(request, kind="analyse_session", payload={"session": str(session.pk)}, session=session)

    @extend_schema(responses={(200, "application/zip"): OpenApiResponse(OpenApiTypes.BINARY, "the session's bundle")})
    @action(detail=True, renderer_classes=[JSONRenderer, Zip])
    def bundle(self, request: Request, pk: str) -> FileResponse:
        """The session as a bundle: rider, bike, setups, runs and recordings; another studio can bring it in."""
        session = self.get_object()
        file = spooled(partial(bundle_export, session=session, by=caller(request)))
        return FileResponse(
            file, as_attachment=True, filename=f"session-{session.date}.zip", content_type="application/zip"
        )

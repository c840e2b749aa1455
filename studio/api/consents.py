"""Consents: read, given and withdrawn by the rider; entered from paper by a fitter. Each purpose by itself."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from analysis.results.services.evidence import evidence_follow
from studio.api.base import ReadViewSet, address_of, caller
from studio.api.etags import etag_of
from studio.api.filters import StudioFilters
from studio.api.problems import UNUSABLE
from studio.api.shapes import InstantField, ModelShape, OneOf, Reference, StrictModelSerializer
from studio.records.models import Consent, ConsentPurpose, Rider
from studio.records.services.consents import consent_give, consent_withdraw
from studio.records.wordings import wording_in_force


class ConsentIn(StrictModelSerializer[Consent]):
    rider = Reference(Rider, required=False, help_text="left out: the rider whom the caller is")
    given_at = InstantField(required=False, help_text="when it was signed on paper; left out: now")

    class Meta:
        model = Consent
        fields = ("rider", "purpose", "wording_version", "given_at", "from_paper", "guardian_name")


class ConsentOut(ModelShape[Consent]):
    class Meta:
        model = Consent
        fields = (
            "id",
            "rider",
            "purpose",
            "wording_version",
            "given_at",
            "withdrawn_at",
            "from_paper",
            "guardian_name",
            "entered_by",
            "created_at",
            "updated_at",
        )


class WordingOut(serializers.Serializer[Any]):
    """What is asked today for one purpose."""

    purpose = OneOf(choices=ConsentPurpose.choices)
    version = serializers.CharField()
    title = serializers.CharField()
    asked = serializers.CharField()
    withdrawing = serializers.CharField()


class ConsentFilters(StudioFilters):
    rider = filters.UUIDFilter(field_name="rider_id")
    purpose = filters.ChoiceFilter(choices=ConsentPurpose.choices)


class ConsentViewSet(ReadViewSet[Consent]):
    route = "consents"
    queryset = Consent.objects.all()
    into, out, filterset_class = ConsentIn, ConsentOut, ConsentFilters

    @extend_schema(request=ConsentIn, responses={201: ConsentOut})
    def create(self, request: Request) -> Response:
        """Agree to one purpose in the words of `wordings/`, or enter from paper what a rider has signed."""
        serializer = ConsentIn(data=request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        given = {"given_at": timezone.now(), **serializer.validated_data}
        if "rider" not in given:
            given["rider"] = getattr(caller(request), "rider", None)
        if given["rider"] is None:
            raise ValidationError({"rider": ["the id of a rider: this account is linked to none"]}, code=UNUSABLE)
        if "given_at" in serializer.validated_data and not given.get("from_paper"):
            raise ValidationError({"given_at": ["nothing, for what is not from paper: it is given now"]}, code=UNUSABLE)
        consent = consent_give(by=caller(request), **given)
        evidence_follow(rider=consent.rider)
        headers = {"Location": address_of("consents", consent.pk), "ETag": etag_of(consent)}
        return Response(self.shown(consent), status=status.HTTP_201_CREATED, headers=headers)

    @extend_schema(request=None, responses=ConsentOut)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: str) -> Response:
        """End this consent from now on; it takes no reason. The row stays as proof of what held until then."""
        consent = self.get_object()
        consent_withdraw(record=consent, by=caller(request), version=consent.version, withdrawn_at=timezone.now())
        evidence_follow(rider=consent.rider)
        return Response(self.shown(consent), headers={"ETag": etag_of(consent)})

    @extend_schema(request=None, responses=WordingOut(many=True), filters=False)
    @action(detail=False, methods=["get"], pagination_class=None)
    def wordings(self, request: Request) -> Response:
        """What is asked today, in plain words, purpose by purpose."""
        return Response([WordingOut(wording_in_force(purpose)).data for purpose in ConsentPurpose.values])

"""Whether a difference transfers: for those who may read what each rider measured, and for nobody else."""

from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from analysis.readers.faults import Fault
from analysis.results.transfer import KEYS, asked_of, transfer_of
from studio.api.base import StudioView, studio_of
from studio.api.problems import Malformed


def _number(says: str) -> serializers.FloatField:
    return serializers.FloatField(allow_null=True, help_text=says)


class LeftOutOut(serializers.Serializer[Any]):
    rider = serializers.UUIDField()
    share = serializers.FloatField(help_text="of all weights in the difference")
    effect_m2 = _number("the difference without this rider")
    se_m2 = _number("its standard error")
    tau_m2 = _number("spread between riders without this one")
    change_m2 = _number("the difference without this rider, less with")
    untold = serializers.CharField(allow_null=True, help_text="why there is no figure")


class ModeratorOut(serializers.Serializer[Any]):
    moderator = serializers.CharField(help_text="height, speed, yaw or bike_kind")
    unit = serializers.CharField(allow_blank=True, help_text="of `step`; for bikes which kind instead of which")
    step = serializers.FloatField(help_text="what `slope_m2` is told for")
    slope_m2 = _number("change of the difference with one step")
    se_m2 = _number("its standard error, by Knapp and Hartung")
    ci95_m2 = serializers.ListField(child=serializers.FloatField(), min_length=2, max_length=2, allow_null=True)
    p_value = _number("of no change")
    tau_m2 = _number("spread between riders that the moderator leaves, by REML")
    tau_dl_m2 = _number("the same by moments")
    explained = _number("share of the spread's variance that it takes away")
    riders = serializers.IntegerField(allow_null=True)
    studies = serializers.IntegerField(allow_null=True)
    untold = serializers.CharField(allow_null=True, help_text="why there is no slope")


class TransferOut(serializers.Serializer[Any]):
    category = serializers.CharField()
    product = serializers.CharField()
    product_id = serializers.UUIDField()
    reference = serializers.CharField()
    reference_id = serializers.UUIDField()
    effect_m2 = _number("product less reference over all riders, from the evidence as it is now")
    se_m2 = _number("its standard error")
    tau_m2 = _number("spread between riders")
    untold = serializers.CharField(allow_null=True, help_text="why there is nothing")
    left_out = LeftOutOut(many=True)
    moderators = ModeratorOut(many=True)


class TransfersView(StudioView):
    route = "transfers"
    query_keys = KEYS

    @extend_schema(
        parameters=[
            OpenApiParameter("category", str, required=True, description="as the catalogue has it"),
            OpenApiParameter("product", OpenApiTypes.UUID, required=True),
            OpenApiParameter("reference", OpenApiTypes.UUID, required=True, description="what it is compared with"),
        ],
        responses=TransferOut,
    )
    def get(self, request: Request) -> Response:
        """One product against another: without each rider, and over height, speed, yaw and kind of bike."""
        missing = [Fault("", key, "nothing", "a value") for key in KEYS if key not in request.query_params]
        if missing:
            raise Malformed("The question lacks a part.", tuple(missing))
        studio = studio_of(request)
        return Response(transfer_of(studio, asked_of(studio, request.query_params.dict())))

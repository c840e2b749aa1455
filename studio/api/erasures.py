"""Having a rider erased: the rider themselves, or an owner at their word. There is nothing to read afterwards."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from reports.erasing import rider_erase
from studio.api.base import StudioView, caller
from studio.api.shapes import Reference, StrictSerializer
from studio.records.models import Rider


class ErasureIn(StrictSerializer):
    rider = Reference(Rider)
    code = serializers.CharField(max_length=60, help_text="the rider's code once more, to say that it is meant")


class ErasuresView(StudioView):
    route, keeps_answers = "erasures", False

    @extend_schema(request=ErasureIn, responses={204: None})
    def post(self, request: Request) -> Response:
        """Erase a rider: records, recordings, results, reports and account. It cannot be undone."""
        serializer = ErasureIn(data=request.data, context={"request": request})
        serializer.is_valid(raise_exception=True)
        rider_erase(by=caller(request), **serializer.validated_data)
        return Response(status=status.HTTP_204_NO_CONTENT)

"""Standings of products over riders. Until editions are made there is no figure that may be shown: an empty table."""

from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from studio.api.base import StudioView

NOTHING_YET: dict[str, Any] = {
    "schema": "standings/1",
    "reference": "",
    "tau_m2": None,
    "tau_dl_m2": None,
    "q": None,
    "df": None,
    "i2": None,
    "inconsistency_p": None,
    "interval_method": None,
    "products": [],
}


class StandingsView(StudioView):
    route = "standings"
    query_keys = ("category",)

    @extend_schema(
        parameters=[OpenApiParameter("category", str)],
        responses=OpenApiResponse(OpenApiTypes.OBJECT, "standings, `standings/1`"),
    )
    def get(self, request: Request) -> Response:
        """Products by effect; withheld rows say why."""
        return Response(NOTHING_YET)

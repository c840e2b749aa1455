"""Standings of products over riders: the shop's question over HTTP, as JSON or CSV."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from collections.abc import Mapping
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.mediatypes import _MediaType

from analysis.readers.faults import Fault, shown
from analysis.results.shop_question import KEYS, NUMBERS, answer_of, question_of
from analysis.results.strata import BIKE_KINDS, HEIGHT_BANDS, YAW_BANDS
from studio.api.base import StudioView, studio_of
from studio.api.problems import Malformed
from studio.records.spreadsheet import harmless

FORMATS = ("json", "csv")
COLUMNS = (
    "product", "id", "effect_m2", "se_m2", "ci95_m2", "prediction95_m2", "p_best", "score", "riders", "studies",
    "component", "faster_riders", "counted_riders", "delta_w", "ci95_w", "delta_s", "ci95_s", "price", "currency",
    "watts_per_100", "withheld",
)  # fmt: skip
QUALITY = re.compile(r"(0(\.\d{0,3})?|1(\.0{0,3})?)", re.ASCII)
PAIRS = ("ci95_m2", "prediction95_m2", "ci95_w", "ci95_s")


class CsvTable(BaseRenderer):
    """A row a product; the question's own facts stand in columns of every row, so that no row is parted from them."""

    media_type = "text/csv"
    format = "csv"
    charset = "utf-8"

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None) -> bytes:
        if "products" not in data:  # a problem document
            return json.dumps(data).encode()
        stated = {"edition": (data["edition"] or {}).get("number"), "reference": data["reference"], **data["assumed"]}
        buffer = io.StringIO()
        writer = csv.writer(buffer)
        writer.writerow([part for name in COLUMNS for part in _heads(name)] + list(stated))
        for row in data["products"]:
            cells = [part for name in COLUMNS for part in _cells(name, row)]
            values = (*cells, *stated.values())
            writer.writerow([harmless(cell) if isinstance(cell, str) else cell for cell in values])
        return buffer.getvalue().encode()


def _heads(name: str) -> list[str]:
    return [f"{name}_low", f"{name}_high"] if name in PAIRS else [name]


def _cells(name: str, row: Mapping[str, Any]) -> list[Any]:
    return list(row[name] or (None, None)) if name in PAIRS else [row[name]]


class ByFormatOrAccept(DefaultContentNegotiation):
    """`?format=` goes before Accept; of two that are accepted the one that is liked better (RFC 9110, 12.4.2)."""

    def select_renderer(self, request: Request, renderers: Any, format_suffix: str | None = None) -> Any:
        asked = request.query_params.get("format")
        for renderer in renderers:
            if asked and renderer.format == asked:
                return renderer, renderer.media_type
        liked = {renderer: self._quality(request, renderer.media_type) for renderer in renderers}
        best = [renderer for renderer in renderers if liked[renderer] == max(liked.values()) > 0.0]
        return super().select_renderer(request, best, format_suffix)

    def _quality(self, request: Request, media_type: str) -> float:
        """`q` of the most special range that has this type in it; 0 where none has."""
        ranges = [one for one in map(_MediaType, self.get_accept_list(request)) if one.match(_MediaType(media_type))]
        said = max(ranges, key=lambda one: one.precedence).params.get("q", "1") if ranges else "0"
        return float(said) if QUALITY.fullmatch(said) else 1.0


def _parameters() -> list[OpenApiParameter]:
    bands = {"bike_kind": BIKE_KINDS, "height": HEIGHT_BANDS, "yaw": YAW_BANDS, "format": FORMATS}
    return [
        OpenApiParameter("category", str, required=True, description="as the catalogue has it"),
        OpenApiParameter("reference", OpenApiTypes.UUID, description="a product; without it the first that is shown"),
        *(OpenApiParameter(key, str, enum=values) for key, values in bands.items()),
        *(OpenApiParameter(key, float) for key in NUMBERS),
        OpenApiParameter("currency", str, description="ISO 4217; selects, nothing is exchanged"),
    ]


class StandingsView(StudioView):
    route = "standings"
    query_keys = (*KEYS, "format")
    renderer_classes = (JSONRenderer, CsvTable)
    content_negotiation_class = ByFormatOrAccept

    @extend_schema(
        parameters=_parameters(),
        responses={
            (200, "application/json"): OpenApiResponse(OpenApiTypes.OBJECT, "standings, `standings/1`"),
            (200, "text/csv"): OpenApiResponse(OpenApiTypes.STR, "the same, a row a product"),
            304: OpenApiResponse(None, "what If-None-Match names still stands"),
        },
    )
    def get(self, request: Request) -> Response:
        """Products by effect; withheld rows say why.

        Against the first product that is shown, a row may say on how many riders it was faster (`faster_riders` of
        `counted_riders`: whole groups of ten riders or more, never none or all of them), and in `slopes` how much its
        effect changes with one step of `height`, `speed`, `yaw` or `bike_kind`, or why that is withheld.
        """
        asked = request.query_params.get("format")
        if asked is not None and asked not in FORMATS:
            raise Malformed("The format is not known.", (Fault("", "format", shown(asked), "json or csv"),))
        if "category" not in request.query_params:
            raise Malformed("A category is missing.", (Fault("", "category", "nothing", "such as wheels"),))
        answer = answer_of(studio_of(request), question_of(request.query_params.dict()))
        text = f"{request.accepted_renderer.format} {json.dumps(answer, sort_keys=True)}"
        tag = hashlib.sha256(text.encode()).hexdigest()[:32]
        headers = {"ETag": f'"{tag}"', "Cache-Control": "private, no-cache", "Vary": "Accept, Authorization, Cookie"}
        sent = {one.strip().removeprefix("W/") for one in request.headers.get("If-None-Match", "").split(",")}
        if sent & {"*", *(f'"{tag}{coding}"' for coding in ("", "-gzip", "-br"))}:
            return Response(status=304, headers=headers)
        return Response(answer, headers=headers)

"""Products, prices and stock as a CSV file: taken by GET, brought in by POST, with a dry run before it."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from studio.api.base import StudioView, caller, studio_of
from studio.api.parsers import refuse_large_upload
from studio.api.shapes import StrictSerializer
from studio.records.errors import TooLarge
from studio.records.selectors.stock import stock_lines
from studio.records.services.stock import CHANGED, NEW, REFUSED, SAME, StockOutcome, stock_import, stock_rehearse
from studio.records.stock_file import COLUMNS, MOST_BYTES, MOST_LINES, write_stock


class Csv(JSONRenderer):
    """Lets a caller ask for the file's type; refusals are still problem documents."""

    media_type = "text/csv"
    format = "csv"


class StockIn(StrictSerializer):
    file = serializers.FileField(
        allow_empty_file=True,
        help_text=f"CSV in UTF-8, at most {MOST_LINES} lines; columns out of: {', '.join(COLUMNS)}",
    )
    dry_run = serializers.BooleanField(default=False, help_text="say what would change, and change nothing")
    seen = serializers.CharField(
        required=False, allow_blank=True, max_length=32, help_text="from a dry run: import only what that one said"
    )


class StockChange(serializers.Serializer[Any]):
    key = serializers.CharField()
    before = serializers.CharField(allow_blank=True)
    after = serializers.CharField(allow_blank=True)


class StockFault(serializers.Serializer[Any]):
    file = serializers.CharField(allow_blank=True)
    line = serializers.IntegerField(allow_null=True)
    key = serializers.CharField(allow_blank=True)
    given = serializers.CharField(allow_blank=True)
    allowed = serializers.CharField(allow_blank=True)


class StockLineOut(serializers.Serializer[Any]):
    line = serializers.IntegerField()
    does = serializers.ChoiceField([NEW, CHANGED, SAME, REFUSED])
    product = serializers.CharField(allow_blank=True)
    changes = StockChange(many=True)


class StockOut(serializers.Serializer[Any]):
    """What a file does, line by line; `errors` says why lines are refused."""

    dry_run = serializers.BooleanField()
    seen = serializers.CharField(help_text="names this very outcome")
    lines = StockLineOut(many=True)
    errors = StockFault(many=True, source="faults")  # type: ignore[assignment]  # the metaclass takes it away


class StockView(StudioView):
    route = "stock"
    parser_classes = [MultiPartParser]
    renderer_classes = [JSONRenderer, Csv]

    def initial(self, request: Request, *args: object, **kwargs: object) -> None:
        if request.method == "POST":
            refuse_large_upload(request)
        super().initial(request, *args, **kwargs)

    @extend_schema(responses={(200, "text/csv"): OpenApiResponse(OpenApiTypes.STR, "products, prices and stock")})
    def get(self, request: Request) -> HttpResponse:
        """The catalogue with the studio's own pieces; the same file brought in changes nothing."""
        answer = HttpResponse(write_stock(stock_lines(studio_of(request))), content_type="text/csv; charset=utf-8")
        answer["Content-Disposition"] = 'attachment; filename="stock.csv"'
        return answer

    @extend_schema(request={"multipart/form-data": StockIn}, responses={200: StockOut})
    def post(self, request: Request) -> Response:
        """Bring a file in, whole or not at all; with `dry_run` only what it would do is said."""
        serializer = StockIn(data=request.data)
        serializer.is_valid(raise_exception=True)
        given = serializer.validated_data
        file: UploadedFile[Any] = given["file"]
        if (file.size or 0) > MOST_BYTES:
            raise TooLarge(f"The file has {file.size} bytes; allowed are {MOST_BYTES}. Split it.")
        name, content = PurePath(file.name or "stock.csv").name, file.read()
        studio, by = studio_of(request), caller(request)
        if given["dry_run"]:
            found = stock_rehearse(studio=studio, by=by, filename=name, content=content)
        else:
            found = stock_import(studio=studio, by=by, filename=name, content=content, seen=given.get("seen", ""))
        return Response(shown(found, dry_run=given["dry_run"]))


def shown(outcome: StockOutcome, *, dry_run: bool) -> dict[str, Any]:
    """The outcome as the answer's body."""
    fields = {name: getattr(outcome, name) for name in ("seen", "lines", "faults")}
    return dict(StockOut({"dry_run": dry_run, **fields}).data)

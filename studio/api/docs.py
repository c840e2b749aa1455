"""What the API says of itself: the OpenAPI document, a plain list of its operations, and a page for every problem."""

from __future__ import annotations

from functools import cache
from threading import Lock
from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import render
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.utils import extend_schema
from rest_framework.exceptions import NotFound
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from studio.api.base import StudioView
from studio.records.problems import KINDS, problem

METHODS = ("get", "post", "put", "patch", "delete")


class Html(JSONRenderer):
    """Lets a browser ask for a page; refusals are still problem documents."""

    media_type = "text/html"
    format = "html"


_drawing = Lock()
"""The library that draws it keeps its place in the views themselves: two threads at once would end in an error."""


def openapi_document() -> dict[str, Any]:
    """The OpenAPI document; drawn once a process, it changes only with the code."""
    with _drawing:
        return _drawn()


@cache
def _drawn() -> dict[str, Any]:
    document: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]
    return document


@extend_schema(exclude=True)
class SchemaView(StudioView):
    route, personal = "schema", False

    def get(self, request: Request) -> Response:
        return Response(openapi_document())


@extend_schema(exclude=True)
class DocsView(StudioView):
    """A plain list: it needs no script and no style of its own, so the strict policy stands."""

    route, personal = "docs", False
    renderer_classes = [Html, JSONRenderer]

    def get(self, request: Request) -> HttpResponse:
        operations = [
            {"method": method.upper(), "path": path, "says": item[method].get("description", "")}
            for path, item in openapi_document()["paths"].items()
            for method in METHODS
            if method in item
        ]
        return render(request, "api/docs.html", {"operations": operations, "kinds": KINDS.values()})


@extend_schema(exclude=True)
class ProblemPage(StudioView):
    """Where the `type` of a problem document leads."""

    route, personal = "docs", False
    renderer_classes = [Html, JSONRenderer]

    def get(self, request: Request, slug: str) -> HttpResponse:
        kind = KINDS.get(slug)
        if kind is None:
            raise Http404
        example = JSONRenderer().render(problem(slug, kind.example, kind.faults), "application/json; indent=2").decode()
        return render(request, "api/problem.html", {"kind": kind, "example": example})


@extend_schema(exclude=True)
class Nowhere(StudioView):
    """Every address that no route has: a problem document, for every method and everybody."""

    route, personal = "nowhere", False

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        raise NotFound

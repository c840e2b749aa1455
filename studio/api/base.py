"""What all views share: role, query keys, privacy, and the record's way through list, read, make, change, remove."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, ClassVar, TypeVar, cast
from uuid import UUID

from django.db import models
from rest_framework import status
from rest_framework.exceptions import MethodNotAllowed
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse
from rest_framework.views import APIView
from rest_framework.viewsets import GenericViewSet

from studio.api.etags import etag_of, require_match, unchanged, with_both_values
from studio.api.filters import StudioFilters, refuse_unknown_keys
from studio.api.idempotency import HEADER, answer_once
from studio.api.parsers import refuse_body_without_length
from studio.api.permissions import ALL
from studio.api.retirement import Retirement
from studio.api.rows import row_shape, shown_rows
from studio.api.shapes import ModelShape, StrictModelSerializer, names_of_columns, resting_values
from studio.records.errors import StaleVersion
from studio.records.models import Studio, User
from studio.records.models.base import Record
from studio.records.querysets import membership_of

M = TypeVar("M", bound=models.Model)
R = TypeVar("R", bound=Record)


class StudioView(APIView):
    """Every view of the API: a line in the permission table, known query keys, and nothing personal in a cache."""

    route: ClassVar[str] = ""
    query_keys: ClassVar[tuple[str, ...]] = ()
    personal: ClassVar[bool] = True
    retirement: ClassVar[Retirement | None] = None
    keeps_answers: ClassVar[bool] = True
    """Whether a POST may come with an Idempotency-Key; an answer with a secret in it is kept nowhere."""
    http_method_names = ["get", "head", "post", "put", "patch", "delete"]

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        if request.method not in ALL:
            raise MethodNotAllowed(str(request.method))  # nobody's, whatever their role
        refuse_body_without_length(request)
        super().initial(request, *args, **kwargs)
        method = str(request.method).lower()
        if method not in self.http_method_names or not hasattr(self, method):
            raise MethodNotAllowed(str(request.method))
        refuse_unknown_keys(request, self.known_query_keys())
        if request.method == "POST" and self.keeps_answers and HEADER in request.headers and hasattr(self, "post"):
            vars(self)["post"] = partial(self._post_once, self.post)

    def _post_once(self, post: Callable[..., Any], request: Request, *args: Any, **kwargs: Any) -> Any:
        handler = partial(post, request, *args, **kwargs)
        return answer_once(request=request, user=caller(request), handler=handler, refuse=self.handle_exception)

    def known_query_keys(self) -> tuple[str, ...]:
        """The keys that this request's query string may have."""
        return self.query_keys

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        response = super().finalize_response(request, response, *args, **kwargs)
        if self.personal and "Cache-Control" not in response:
            response["Cache-Control"] = "private, no-store"
        for name, value in self.retirement.headers.items() if self.retirement else ():
            response[name] = value
        return response


def caller(request: Request) -> User:
    """The signed-in account; the permission table has let it in."""
    return cast(User, request.user)


def studio_of(request: Request) -> Studio:
    """The caller's studio."""
    membership = membership_of(request.user)
    if membership is None:
        raise LookupError("a caller without a membership passed the permission table")
    return membership.studio


def address_of(route: str, pk: UUID | str) -> str:
    """Path of one row, for Location."""
    return reverse(f"api:{route}-detail", kwargs={"pk": pk})


class ReadViewSet(StudioView, GenericViewSet[M]):
    """List and read rows that the caller may see; nothing else of a row's existence leaks."""

    filterset_class: ClassVar[type[StudioFilters] | None] = None
    list_out: ClassVar[type[ModelShape[Any]] | None] = None
    out: ClassVar[type[ModelShape[Any]]]

    def known_query_keys(self) -> tuple[str, ...]:
        if self.action != "list":
            return ()
        filters = self.filterset_class.base_filters if self.filterset_class else ()
        return ("cursor", *filters)

    def get_queryset(self) -> models.QuerySet[M]:
        rows = super().get_queryset()
        return rows.visible_to(self.request.user)  # type: ignore[attr-defined,no-any-return]

    def filter_queryset(self, queryset: models.QuerySet[M, Any]) -> models.QuerySet[M, Any]:
        asked = self.action == "list" and self.request.query_params.keys() - {"cursor"}
        return super().filter_queryset(queryset) if asked else queryset

    def shown(self, row: M) -> dict[str, Any]:
        """The row as the answer's body."""
        return dict(self.out(row, context=self.get_serializer_context()).data)

    def list(self, request: Request) -> Response:
        out = self.list_out or self.out
        shape, rows = row_shape(out), self.filter_queryset(self.get_queryset())
        if shape is None:
            page = self.paginate_queryset(rows)
            return self.get_paginated_response(out(page, many=True, context=self.get_serializer_context()).data)
        columns = self.paginate_queryset(rows.prefetch_related(None).values(*shape.columns))
        return self.get_paginated_response(shown_rows(out, shape, columns or [], request.user))

    def retrieve(self, request: Request, pk: str) -> Response:
        row = self.get_object()
        if not isinstance(row, Record):
            return Response(self.shown(row))
        if unchanged(request, row):
            return Response(status=status.HTTP_304_NOT_MODIFIED, headers={"ETag": etag_of(row)})
        return Response(self.shown(row), headers={"ETag": etag_of(row)})


class RemovableViewSet(ReadViewSet[R]):
    """Records that can be removed by who has read their current version."""

    record_delete: ClassVar[Callable[..., Any]]

    def destroy(self, request: Request, pk: str) -> Response:
        record = self.get_object()
        require_match(request, record)
        self.record_delete(record=record, by=caller(request), version=record.version)
        return Response(status=status.HTTP_204_NO_CONTENT)


class RecordViewSet(RemovableViewSet[R]):
    """A record's whole life; every write is a service's."""

    into: ClassVar[type[StrictModelSerializer[Any]]]
    record_create: ClassVar[Callable[..., Any]]
    record_update: ClassVar[Callable[..., Any]]

    def names_of_columns(self) -> dict[str, str]:
        """The body's keys for columns of other names; refusals speak of those."""
        return names_of_columns(self.into())

    def given(self, request: Request, *, partial: bool = False) -> dict[str, Any]:
        """The body, its shape checked."""
        serializer = self.into(data=request.data, partial=partial, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        return dict(serializer.validated_data)

    def create(self, request: Request) -> Response:
        fields = self.given(request)
        record = self.record_create(studio=studio_of(request), by=caller(request), **fields)
        headers = {"Location": address_of(self.route, record.pk), "ETag": etag_of(record)}
        return Response(self.shown(record), status=status.HTTP_201_CREATED, headers=headers)

    def update(self, request: Request, pk: str) -> Response:
        return self._changed(request, whole=True)

    def partial_update(self, request: Request, pk: str) -> Response:
        return self._changed(request, whole=False)

    def _changed(self, request: Request, *, whole: bool) -> Response:
        record = self.get_object()
        try:
            require_match(request, record)
            given = self.given(request, partial=not whole)
            changes = resting_values(self.into()) | given if whole else given
            changes = {name: value for name, value in changes.items() if not _holds(record, name, value)}
            self.record_update(record=record, by=caller(request), version=record.version, changes=changes)
        except StaleVersion as error:
            current = self.get_object()
            raise with_both_values(error, request.data, self.shown(current), etag_of(current)) from error
        record = self.get_object()  # afresh: what was fetched along with it may have changed, too
        return Response(self.shown(record), headers={"ETag": etag_of(record)})


def _holds(record: Record, name: str, value: Any) -> bool:
    """Whether the record says so already: what stays as it is needs no leave to change."""
    columns = record.__dict__
    key = f"{name}_id" if f"{name}_id" in columns else name
    return key in columns and bool(columns[key] == (value.pk if isinstance(value, models.Model) else value))

"""Query strings: every route names its keys, and any other key is refused with the list of those allowed."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db import models
from django_filters import rest_framework as filters
from rest_framework.request import Request

from analysis.readers.faults import Fault, shown
from studio.api.problems import Malformed
from studio.api.shapes import one_of


class StudioFilters(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Base of the filter sets; each names exact keys of its record. A key without a value filters nothing: refused."""

    @classmethod
    def get_filters(cls) -> dict[str, filters.Filter]:
        """The class's own, before anybody, such as the API's document, asks one for its field: it is made only once."""
        found: dict[str, filters.Filter] = super().get_filters()
        for row_filter in found.values():
            if allowed := _allowed(row_filter):
                row_filter.extra["error_messages"] = dict.fromkeys(("invalid", "invalid_choice"), allowed)
        return found

    def is_valid(self) -> bool:
        faults = tuple(
            Fault(file="", key=name, given="nothing", allowed="a value, or not the key")
            for name, row_filter in self.filters.items()
            if self.data.get(name) == "" and type(row_filter) is not filters.CharFilter
        )
        if faults:
            raise Malformed("The query string has keys without a value.", faults)
        return bool(super().is_valid())

    def filter_queryset(self, queryset: models.QuerySet[Any]) -> models.QuerySet[Any]:
        # To the library an empty text is no wish; to a program whose text came out empty, all rows are a surprise.
        empty = {row_filter.field_name: "" for name, row_filter in self.filters.items() if self.data.get(name) == ""}
        rows: models.QuerySet[Any] = super().filter_queryset(queryset.filter(**empty))
        return rows


def _allowed(row_filter: filters.Filter) -> str:
    """What a value of the filter must be."""
    if isinstance(row_filter, filters.ChoiceFilter):
        choices = row_filter.extra["choices"]
        return one_of(word for word, _ in getattr(choices, "choices", choices))
    if isinstance(row_filter, filters.UUIDFilter):
        return "an id, such as an answer gave"
    return "a day such as 2026-05-09" if isinstance(row_filter, filters.DateFilter) else ""


def refuse_unknown_keys(request: Request, allowed: Iterable[str]) -> None:
    """Refuse a request whose query string has a key that the route does not know.

    Raises
    ------
    Malformed
        With one fault for every unknown key, naming those allowed.
    """
    known = sorted(allowed)
    names = "one of " + ", ".join(known) if known else "no query keys here"
    faults = tuple(
        Fault(file="", key=key, given=shown(request.query_params[key]), allowed=names)
        for key in request.query_params
        if key not in known
    )
    if faults:
        raise Malformed("The query string has keys that are not known here.", faults)

"""Query strings: every route names its keys, and any other key is refused with the list of those allowed."""

from __future__ import annotations

from collections.abc import Iterable

from django_filters import rest_framework as filters
from rest_framework.request import Request

from analysis.readers.faults import Fault, shown
from studio.api.problems import Malformed


class StudioFilters(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Base of the filter sets; each names exact keys of its record. A key without a value filters nothing: refused."""

    def is_valid(self) -> bool:
        faults = tuple(
            Fault(file="", key=name, given="nothing", allowed="a value, or not the key")
            for name, row_filter in self.filters.items()
            if self.data.get(name) == "" and type(row_filter) is not filters.CharFilter
        )
        if faults:
            raise Malformed("The query string has keys without a value.", faults)
        return bool(super().is_valid())


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

"""Lists are pages by cursor, newest first: ids order by time, so `-id` never shifts or drops a row."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from rest_framework.exceptions import NotFound
from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.request import Request

from analysis.readers.faults import Fault, shown
from studio.api.problems import Malformed


class NewestFirst(CursorPagination):
    """50 rows a page; `?cursor=` from the answer's `next` and `previous`."""

    ordering = "-id"
    page_size = 50

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        """As JSON Schema has it: the framework's own says `nullable`, which OpenAPI 3.1 has no more."""
        link = {"type": ["string", "null"], "format": "uri"}
        return {
            "type": "object",
            "required": ["next", "previous", "results"],
            "properties": {"next": link, "previous": link, "results": schema | {"maxItems": self.page_size}},
        }

    def decode_cursor(self, request: Request) -> Cursor | None:
        """Read the cursor; one that no answer gave is a wrong shape (400), not a missing row."""
        try:
            cursor = super().decode_cursor(request)
            if cursor is not None and cursor.position is not None:
                UUID(str(cursor.position))
        except (NotFound, ValueError):
            given = shown(request.query_params[self.cursor_query_param])
            fault = Fault(file="", key="cursor", given=given, allowed="a cursor from `next` or `previous`")
            raise Malformed("The cursor is none that an answer gave.", (fault,)) from None
        return cursor

"""Lists are pages by cursor, newest first: ids order by time, so `-id` never shifts or drops a row."""

from __future__ import annotations

import re
from typing import Any

from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.request import Request
from rest_framework.utils.urls import replace_query_param

from analysis.readers.faults import Fault, shown
from studio.api.problems import Malformed

AFTER, BEFORE = "after", "before"
CURSOR = re.compile(r"(after|before)(?:-([0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}))?", re.ASCII)


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

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        schema = {"type": "string", "pattern": f"^{CURSOR.pattern}$"}
        return [{"name": self.cursor_query_param, "in": "query", "required": False, "schema": schema}]

    def encode_cursor(self, cursor: Cursor) -> str:
        """The address of a page: beside which row it lies, and on which side. Ids are unique: no offset is needed."""
        word = (BEFORE if cursor.reverse else AFTER) + (f"-{cursor.position}" if cursor.position else "")
        return replace_query_param(str(self.base_url), self.cursor_query_param, word)

    def decode_cursor(self, request: Request) -> Cursor | None:
        """Read the cursor; one that no answer gave is a wrong shape (400), not a missing row."""
        given = request.query_params.get(self.cursor_query_param)
        if given is None:
            return None
        found = CURSOR.fullmatch(given)
        if found is None:
            fault = Fault(file="", key="cursor", given=shown(given), allowed="a cursor from `next` or `previous`")
            raise Malformed("The cursor is none that an answer gave.", (fault,))
        return Cursor(offset=0, reverse=found[1] == BEFORE, position=found[2])  # type: ignore[arg-type]  # an id: text

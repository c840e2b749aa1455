"""Turning the pages of a list, newest first: ids order by time, so a page neither shifts nor doubles a row."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeVar
from uuid import UUID

from django.core.exceptions import BadRequest
from django.db import models
from django.http import HttpRequest

M = TypeVar("M", bound=models.Model)

ROWS_PER_PAGE = 25


@dataclass(frozen=True, slots=True)
class Turn:
    """Where the list goes on: `older` names the last row shown, `newest` says that this is not the first page."""

    older: Any
    newest: bool


def turned(request: HttpRequest, rows: models.QuerySet[M]) -> tuple[list[M], Turn]:
    """The rows of this page, in one query, and where to turn to.

    Raises
    ------
    BadRequest
        When `before` is no id.
    """
    before = request.GET.get("before")
    if before is not None:
        try:
            rows = rows.filter(pk__lt=UUID(before))
        except ValueError:
            raise BadRequest("`before` must be the id of a row.") from None
    found = list(rows.order_by("-pk")[: ROWS_PER_PAGE + 1])
    page = found[:ROWS_PER_PAGE]
    return page, Turn(older=page[-1].pk if len(found) > len(page) else None, newest=before is not None)

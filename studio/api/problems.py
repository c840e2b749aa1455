"""The one exception handler: whatever goes wrong under `/api/v1/` becomes one problem document (RFC 9457).

Here is which error becomes which kind; the kinds and their words are `studio.records.problems`.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping
from typing import Any

from django.conf import settings
from django.core.exceptions import (
    PermissionDenied,
    RequestDataTooBig,
    SuspiciousOperation,
    TooManyFieldsSent,
    TooManyFilesSent,
)
from django.db import OperationalError
from django.http import Http404, UnreadablePostError
from rest_framework import exceptions
from rest_framework.request import Request
from rest_framework.response import Response

from analysis.readers.faults import Fault, Refused, shown
from studio.records.errors import RecordsError, StaleVersion
from studio.records.problems import KINDS, problem, problem_of
from studio.records.store import is_full

CONTENT_TYPE = "application/problem+json"
RETRY_AFTER_S = 5
NOTHING_THERE = "There is nothing at this address, or it is not yours."
UNUSABLE = "unusable"
"""Code of a serializer's error that is no fault of shape: 422 where nothing else is wrong."""
SECRET_KEYS = {"password", "token"}

logger = logging.getLogger(__name__)


class Malformed(Exception):
    """The request has the wrong shape (400); `faults` says where."""

    slug = "malformed"

    def __init__(self, detail: str, faults: tuple[Fault, ...] = ()) -> None:
        super().__init__(detail)
        self.detail = detail
        self.faults = faults


class WrongMediaType(Malformed):
    """The bytes are of a type that is not read here (415)."""

    slug = "media-type"


class PreconditionMissing(Exception):
    """A change came without If-Match (428)."""


class TooManyStreams(Exception):
    """All streams of this process are taken (503); the caller polls."""


class TooManyGuesses(Exception):
    """No further pair is looked at for `wait` seconds (429)."""

    def __init__(self, wait: int) -> None:
        super().__init__()
        self.wait = wait


_SENTENCES: list[tuple[type[Exception] | tuple[type[Exception], ...], str, str]] = [
    ((Http404, exceptions.NotFound), "not-found", NOTHING_THERE),
    (exceptions.NotAuthenticated, "sign-in", "Nobody is signed in: send `Authorization: Bearer` with a valid token."),
    (PermissionDenied, "not-allowed", "This account may not do that."),
    (PreconditionMissing, "precondition", "A change needs If-Match with the ETag that the record was read with."),
    (TooManyStreams, "unavailable", "All progress streams are in use; ask `jobs/{id}/` again every few seconds."),
    (TooManyGuesses, "too-many", "Too many wrong pairs for this username; for a while no other is looked at."),
    (RequestDataTooBig, "too-large", "The request body has more bytes than are allowed."),
    (UnreadablePostError, "malformed", "The request ended before all of its bytes came."),
    (SuspiciousOperation, "malformed", "The request has a shape that is not read here."),
    (OperationalError, "unavailable", "The database does not take this just now."),
]
_SLUG_OF_STATUS = {400: "malformed", 401: "sign-in", 403: "not-allowed", 404: "not-found", 405: "method"} | {
    406: "not-acceptable", 413: "too-large", 415: "media-type", 429: "too-many"
}  # fmt: skip


def problem_response(exc: Exception, context: dict[str, Any]) -> Response:
    """Answer of the API to any exception of a view; nothing unknown is quoted, it is logged."""
    document = _document(exc, context)
    if document["status"] >= 500:
        logger.error("answered %s", document["status"], exc_info=exc)
    headers = {}
    if challenge := getattr(exc, "auth_header", None):
        headers["WWW-Authenticate"] = challenge
    if isinstance(exc, StaleVersion) and exc.etag:
        headers["ETag"] = exc.etag
    if document["status"] == KINDS["unavailable"].status:
        headers["Retry-After"] = str(RETRY_AFTER_S)
    if wait := getattr(exc, "wait", None):
        headers["Retry-After"] = str(wait)
    return Response(document, status=document["status"], headers=headers, content_type=CONTENT_TYPE)


def _document(exc: Exception, context: dict[str, Any]) -> dict[str, Any]:
    if isinstance(exc, RecordsError | Refused):
        return _in_own_words(problem_of(exc), getattr(context.get("view"), "names_of_columns", dict)())
    if isinstance(exc, Malformed):
        return problem(exc.slug, exc.detail, exc.faults)
    if isinstance(exc, exceptions.ValidationError):
        return _shape_problem(exc, context.get("request"))
    if isinstance(exc, exceptions.UnsupportedMediaType):
        return _media_problem(exc, context)
    if isinstance(exc, TooManyFilesSent | TooManyFieldsSent):
        return _crowded_form(exc)
    for classes, slug, sentence in _SENTENCES:
        if isinstance(exc, classes):
            return problem(slug, sentence)
    if isinstance(exc, exceptions.APIException) and exc.status_code in _SLUG_OF_STATUS:
        return problem(_SLUG_OF_STATUS[exc.status_code], str(exc.detail))
    if is_full(exc):
        return problem("unavailable", "The studio's disk is full: nothing was kept. Tell the owner.")
    return problem("fault", "Something went wrong on the studio's side; it was noted.")


def _crowded_form(exc: Exception) -> dict[str, Any]:
    files = isinstance(exc, TooManyFilesSent)
    most = settings.DATA_UPLOAD_MAX_NUMBER_FILES if files else settings.DATA_UPLOAD_MAX_NUMBER_FIELDS
    parts = "files" if files else "fields"
    fault = Fault(file="", key=parts, given=f"more than {most}", allowed=f"at most {most} at once; send the rest after")
    return problem("malformed", f"The form has more than {most} {parts}; nothing of it was kept.", (fault,))


def _in_own_words(document: dict[str, Any], names: Mapping[str, str]) -> dict[str, Any]:
    """The same with each key as the route's body has it, where a column goes by another name."""
    for error in document.get("errors", ()):
        key = ", ".join(names.get(key, key) for key in error["key"].split(", "))
        document["detail"] = document["detail"].replace(f" {error['key']} is ", f" {key} is ")
        error["key"] = key
    return document


def _media_problem(exc: exceptions.UnsupportedMediaType, context: dict[str, Any]) -> dict[str, Any]:
    request: Request | None = context.get("request")
    read = [parser.media_type for parser in request.parsers or ()] if request else []
    given = shown(request.content_type) if request else "nothing"
    fault = Fault(file="", key="Content-Type", given=given, allowed=" or ".join(read))
    return problem("media-type", str(exc.detail), (fault,))


def _shape_problem(exc: exceptions.ValidationError, request: Request | None) -> dict[str, Any]:
    given = _asked(request) if request is not None else None
    faults = tuple(_faults(exc.detail, given))
    if set(_codes(exc.detail)) == {UNUSABLE}:
        return problem("unusable", "The request names what is not there, or not yours.", faults)
    return problem("malformed", "The request has the wrong shape.", faults)


def _asked(request: Request) -> Any:
    return request.query_params if request.method in {"GET", "HEAD"} else request.data


def _faults(detail: Any, given: Any, key: str = "") -> Iterator[Fault]:
    """One fault for every message in a serializer's nested errors."""
    if isinstance(detail, dict):
        for name, inner in detail.items():
            whole = name == "non_field_errors"
            here = key if whole else f"{key}.{name}".lstrip(".")
            yield from _faults(inner, given if whole else _part(given, name), here)
    elif isinstance(detail, list):
        for number, inner in enumerate(detail):
            nested = isinstance(inner, dict | list)
            where = f"{key}.{number}".lstrip(".") if nested else key
            yield from _faults(inner, _part(given, number) if nested else given, where)
    else:
        yield Fault(file="", key=key, given=_shown(key, given), allowed=str(detail))


def _codes(detail: Any) -> Iterator[str]:
    if isinstance(detail, exceptions.ErrorDetail):
        yield str(detail.code)
    else:
        for inner in detail.values() if isinstance(detail, dict) else detail:
            yield from _codes(inner)


def _part(given: Any, name: Any) -> Any:
    try:
        return given[name]
    except (KeyError, IndexError, TypeError):
        return None


def _shown(key: str, given: Any) -> str:
    if SECRET_KEYS & set(key.split(".")):
        return "not shown"
    return "nothing" if given is None else shown(given)

"""Entity tags: `"<id>.<version>"`, strong, one per coding, and the conditions that come with a request (RFC 9110).

Services check the version once more in the same statement that writes: here is only the early answer.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request

from studio.api.problems import PreconditionMissing
from studio.records.errors import Difference, StaleVersion
from studio.records.models.base import Record

CODINGS = ("", "-gzip", "-br")
"""Endings that a compressing server in front of us puts on the tag."""


def etag_of(record: Record) -> str:
    """The tag of a record's current version."""
    return f'"{record.pk}.{record.version}"'


def _tags_of(record: Record) -> set[str]:
    return {f'"{record.pk}.{record.version}{coding}"' for coding in CODINGS}


def _listed(header: str) -> list[str]:
    return [tag.strip() for tag in header.split(",")]


def require_match(request: Request, record: Record) -> None:
    """Let a change through only when the caller has read the current version.

    Raises
    ------
    PreconditionMissing
        Without If-Match.
    StaleVersion
        When no tag that was sent is the current one; a weak tag never is.
    """
    header = request.headers.get("If-Match")
    if header is None:
        raise PreconditionMissing
    if header.strip() != "*" and not _tags_of(record) & set(_listed(header)):
        raise StaleVersion("The record was changed since it was read; read it again, then repeat the change.")


def unchanged(request: Request, record: Record) -> bool:
    """Whether If-None-Match names the current version, by the weak comparison that a read takes."""
    header = request.headers.get("If-None-Match", "")
    sent = {tag.removeprefix("W/") for tag in _listed(header)}
    return bool(sent & (_tags_of(record) | {"*"}))


def with_both_values(error: StaleVersion, yours: Any, theirs: Mapping[str, Any], etag: str) -> StaleVersion:
    """The refusal with both values of every field that the caller sent and that now says something else."""
    sent = yours if isinstance(yours, Mapping) else {}
    now = json.loads(JSONRenderer().render(theirs))  # as an answer has them, so that equal values are equal
    both = [Difference(key, sent[key], now[key]) for key in sent if key in now and now[key] != sent[key]]
    return StaleVersion(error.message, differences=tuple(both), etag=etag)

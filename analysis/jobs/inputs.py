"""From records to the estimator's terms, and the fingerprint of what went in. The only translator."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from importlib.metadata import version
from typing import Any

from analysis.core.types import Session
from analysis.jobs.reading import recording_of
from analysis.readers.session import core_session
from studio.records.models import FieldSession, Recording
from studio.records.selectors.bundles import session_document

ENGINE_VERSION = version("windledger")


def inputs_sha256(document: Mapping[str, Any], sums: Mapping[str, str]) -> str:
    """The fingerprint of a session document and the SHA-256 of each recording that its runs name."""
    named = {run["recording"] for run in document["runs"]}
    # A bundle writes 178 where a row gives back 178.0: they are one number and must be one fingerprint.
    numbers_alike = json.loads(json.dumps(document, allow_nan=False), parse_int=float)
    text = json.dumps(
        [numbers_alike, {name: sums[name] for name in sorted(named)}],
        sort_keys=True,
        ensure_ascii=False,
        separators=(",", ":"),
        allow_nan=False,
    )
    return hashlib.sha256(text.encode()).hexdigest()


def records_sha256(session: FieldSession) -> str:
    """The fingerprint of a session as its records stand now."""
    sums = dict(Recording.objects.filter(session=session).values_list("filename", "sha256"))
    return inputs_sha256(session_document(session), sums)


def session_inputs(session: FieldSession) -> tuple[Session, str]:
    """The session as the estimator wants it, and its fingerprint.

    Raises `Refused` where a recording cannot be read or a run lies outside its recording.
    """
    document = session_document(session)
    rows = {row.filename: row for row in Recording.objects.filter(session=session)}
    named = dict.fromkeys(run["recording"] for run in document["runs"])
    recordings = {name: recording_of(rows[name]) for name in named}
    sums = {name: rows[name].sha256 for name in named}
    return core_session(document, recordings), inputs_sha256(document, sums)

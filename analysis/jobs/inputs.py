"""From records to the estimator's terms, and the fingerprint of what went in. The only translator."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, replace
from importlib.metadata import version

from analysis.core.types import Session
from analysis.jobs.instruments_due import calibrations_due
from analysis.jobs.reading import recording_of
from analysis.readers.session import core_session
from studio.records.models import FieldSession
from studio.records.selectors.bundles import fingerprint, session_document

ENGINE_VERSION = version("windledger")


def inputs_sha256(session: FieldSession) -> str:
    """The fingerprint of what the records say of a session now, of its recordings' bytes and how they are read."""
    rows = session.recordings.values_list("filename", "sha256", "mapping")
    said = fingerprint(session_document(session), {name: _sum(sha256, rules) for name, sha256, rules in rows})
    due = [asdict(note) for note in calibrations_due(session)]
    return hashlib.sha256(f"{said} {json.dumps(due)}".encode()).hexdigest() if due else said


def _sum(sha256: str, rules: Mapping[str, str]) -> str:
    """Bytes that the studio's own rules read are other inputs than the same bytes by the default table."""
    text = json.dumps(rules, sort_keys=True, ensure_ascii=True)
    return f"{sha256} by {hashlib.sha256(text.encode()).hexdigest()}" if rules else sha256


def session_inputs(session: FieldSession) -> Session:
    """The session as the estimator wants it.

    Raises `Unusable` where a run has no recording, `Refused` where a recording cannot be read or a run lies outside it.
    """
    document = session_document(session)
    rows = {row.filename: row for row in session.recordings.select_related("session")}
    named = dict.fromkeys(run["recording"] for run in document["runs"])
    session_of_files = core_session(document, {name: recording_of(rows[name]) for name in named})
    return replace(session_of_files, notes=(*session_of_files.notes, *calibrations_due(session)))

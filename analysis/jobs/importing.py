"""Bringing in a bundle: read and estimate everything first, then one transaction keeps all of it or nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from analysis.jobs.analysing import analyse, enter_ridden, estimated, keep
from analysis.jobs.inputs import inputs_sha256
from analysis.jobs.reading import keep_channels, upload_limits
from analysis.readers.archive import canonical
from analysis.readers.bundle import read_whole_bundle
from analysis.readers.mapping_document import Rules, device_key
from analysis.readers.samples import Recording as Reading
from analysis.readers.session import core_session
from analysis.results.services.attempts import Attempt
from studio.records.models import FieldSession, Recording, RecordingState
from studio.records.selectors.bundles import fingerprint, session_fingerprint
from studio.records.selectors.mappings import RememberedRules
from studio.records.services.bundles import bundle_import
from studio.records.services.recordings import recording_read
from studio.records.store import file_path


def import_bundle(attempt: Attempt) -> dict[str, Any]:
    """Import the uploaded zip that the job names, and analyse its session."""
    return import_stored(attempt, str(attempt.job.payload["sha256"]), label=attempt.job.payload.get("filename"))


def import_stored(attempt: Attempt, sha256: str, *, label: str | None = None) -> dict[str, Any]:
    """Import a bundle that lies in the file store.

    Everything that can be refused is met before a row is written. The same bundle again is the session that is there.
    """
    studio = attempt.job.studio
    attempt.progress(0.05, "reading the bundle")
    stored = file_path(studio_id=studio.pk, sha256=sha256)
    remembered = RememberedRules(studio.pk)
    bundle, readings = read_whole_bundle(stored, limits=upload_limits(), label=label, mapping=remembered)
    inputs = core_session(bundle.document, readings)
    attempt.progress(0.3, "estimating the drag areas")
    result = estimated(replace(inputs, notes=tuple(dict.fromkeys((*inputs.notes, *bundle.notes)))))
    attempt.progress(0.9, "keeping the session")
    readings = {canonical(name): reading for name, reading in readings.items()}
    kept = {name: keep_channels(studio.pk, reading) for name, reading in readings.items()}
    rules = {name: remembered(device_key(reading.device)) for name, reading in readings.items()}
    with attempt.atomic():
        session = bundle_import(studio=studio, bundle=bundle, by=attempt.job.requested_by)
        enter_readings(session, readings, kept, rules)
        read_as_here = dict(session.recordings.values_list("filename", "mapping")) == rules
        if read_as_here and session_fingerprint(session) == fingerprint(bundle.document, bundle.sha256):
            enter_ridden(session, inputs)
            return keep(attempt, session, inputs_sha256(session), result)
    # The session was here before and was changed since: what counts is how its records stand now.
    return analyse(attempt, session)


def enter_readings(
    session: FieldSession, readings: Mapping[str, Reading], kept: Mapping[str, str], rules: Mapping[str, Rules]
) -> None:
    """Enter what was read from each recording that nobody has read before."""
    for recording in Recording.objects.filter(session=session).exclude(state=RecordingState.READ):
        name = recording.filename
        if name not in readings:
            continue  # somebody added it to the session; the bundle has none of that name
        recording_read(recording=recording, reading=readings[name], channels_sha256=kept[name], mapping=rules[name])

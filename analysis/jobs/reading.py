"""Reading one recording: from the uploaded bytes to channels, kept as Parquet beside them."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from uuid import UUID

from django.conf import settings

from analysis.readers.faults import Refused
from analysis.readers.limits import Limits
from analysis.readers.mapping_document import device_key
from analysis.readers.parquet import recording_from_parquet, recording_to_parquet
from analysis.readers.recording import fields_of
from analysis.readers.recording import read_recording as read_file
from analysis.readers.samples import Recording as Reading
from analysis.results.services.attempts import Attempt
from studio.records.models import FieldSession, Recording, RecordingState
from studio.records.problems import problem_of
from studio.records.selectors.mappings import RememberedRules
from studio.records.services.recordings import recording_read, recording_refuse
from studio.records.store import file_path, keep_file


def read_recording(attempt: Attempt) -> dict[str, Any]:
    """Read the recording that the job names; one that cannot be read says so in its row, too.

    `again` reads one anew that was read before, by the mapping that the studio remembers now; where that is refused,
    what was read before stays.
    """
    recording = Recording.objects.select_related("session", "studio").get(pk=attempt.job.payload["recording"])
    attempt.progress(0.1, f"reading {recording.filename}")
    if recording.state != RecordingState.READ or attempt.job.payload.get("again"):
        read_and_enter(attempt, recording)
    return {"recording": str(recording.pk)}


def read_unread(attempt: Attempt, session: FieldSession) -> None:
    """Read what an analysis needs and nobody has read yet. Raises `Refused`."""
    unread = session.recordings.exclude(state=RecordingState.READ).filter(runs__isnull=False).distinct()
    for recording in unread.select_related("session", "studio"):
        read_and_enter(attempt, recording)


def read_and_enter(attempt: Attempt, recording: Recording) -> None:
    """Read the upload by the rules that the studio remembers for its device, and enter what came of it."""
    remembered = RememberedRules(recording.studio_id)
    try:
        reading = read_upload(recording, remembered)
    except Refused as refusal:
        if recording.state != RecordingState.READ:
            device = fields_of(recording.filename, _upload_of(recording), limits=upload_limits())
            with attempt.atomic():
                recording_refuse(recording=recording, problem=problem_of(refusal), device=device)
        raise
    before, channels_sha256 = recording.channels_sha256, keep_channels(recording.studio_id, reading)
    rules = remembered(device_key(reading.device))
    with attempt.atomic():
        recording_read(recording=recording, reading=reading, channels_sha256=channels_sha256, mapping=rules)
    if before and not Recording.objects.filter(studio=recording.studio_id, channels_sha256=before).exists():
        file_path(studio_id=recording.studio_id, sha256=before).unlink(missing_ok=True)  # anybody can read it again


def upload_limits() -> Limits:
    """What the readers accept of an upload."""
    return Limits(max_bytes=settings.UPLOAD_MAX_BYTES)


def read_upload(recording: Recording, remembered: RememberedRules) -> Reading:
    """Read the uploaded bytes in the session's time zone. Raises `Refused`."""
    zone = recording.session.timezone
    path = _upload_of(recording)
    return read_file(recording.filename, path, mapping=remembered, zone=zone, limits=upload_limits())


def _upload_of(recording: Recording) -> Path:
    return file_path(studio_id=recording.studio_id, sha256=recording.sha256)


def keep_channels(studio_id: UUID, reading: Reading) -> str:
    """Keep what was read as Parquet in the file store; gives its SHA-256."""
    return keep_file(studio_id=studio_id, chunks=[recording_to_parquet(reading)]).sha256


def recording_of(recording: Recording) -> Reading:
    """The channels of a recording: from its Parquet, or from the upload where nobody has read it yet."""
    if recording.state != RecordingState.READ:
        return read_upload(recording, RememberedRules(recording.studio_id))
    return recording_from_parquet(_channels_of(recording))


def _channels_of(recording: Recording) -> bytes:
    """The stored channels; those of a row that was read anew since it was fetched are looked up once more."""
    try:
        return file_path(studio_id=recording.studio_id, sha256=recording.channels_sha256).read_bytes()
    except FileNotFoundError:
        recording.refresh_from_db(fields=["channels_sha256"])
        return file_path(studio_id=recording.studio_id, sha256=recording.channels_sha256).read_bytes()

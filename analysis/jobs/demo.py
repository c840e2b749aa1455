"""One day of the demo: written as a bundle and imported by the path that every upload takes."""

from __future__ import annotations

import io
from typing import Any

from analysis.jobs.demo_bundle import demo_bundle
from analysis.jobs.importing import import_stored
from analysis.readers.bundle import write_bundle
from analysis.results.services.attempts import Attempt
from studio.records.store import discard_file, keep_file


def demo_session(attempt: Attempt) -> dict[str, Any]:
    """Make the day that the job's number names, import and analyse it."""
    number = int(attempt.job.payload["number"])
    attempt.progress(0.02, f"test day {number}: riding")
    archive = io.BytesIO()
    document, files = demo_bundle(number)
    write_bundle(document, files, archive)
    stored = keep_file(studio_id=attempt.job.studio_id, chunks=[archive.getvalue()])
    result = import_stored(attempt, stored.sha256)
    discard_file(studio_id=attempt.job.studio_id, sha256=stored.sha256)  # nobody sent it: no record names it
    return result

"""Whether what the studio holds is whole: the trail, every stored file, what jobs say, and what nothing names.

Every finding is one line that begins with what it concerns. Nothing is mended here.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from uuid import UUID

from django.conf import settings
from django.db import connection

from analysis.results.models import Analysis, Job, JobState
from reports.models import Report
from studio.records.models import FieldSession, Membership, Recording, Role, Studio, User
from studio.records.services.events import chain_faults
from studio.records.store import TORN, file_path

CHUNK_BYTES = 1024 * 1024
ENDED = (JobState.DONE, JobState.REFUSED, JobState.FAILED)
MADE_BY_JOBS = {"session": FieldSession, "analysis": Analysis, "report": Report, "recording": Recording}


def findings(*, now: datetime) -> Iterator[str]:
    """Everything that is not as it was kept, a line each; none when all is whole."""
    for studio in Studio.objects.order_by("pk"):
        for fault in chain_faults(studio):
            yield f"Trail of {studio.name}: {fault}"
        yield from _owners(studio)
    yield from _stored_files()
    yield from _reports()
    yield from _jobs(now)
    yield from _accounts()
    yield from _dangling_rows()


def _owners(studio: Studio) -> Iterator[str]:
    owners = Membership.objects.filter(studio=studio, role=Role.OWNER, user__is_active=True)
    if not owners.exists():
        yield f"Studio {studio.name}: no owner can sign in; make one with createowner."


def _stored_files() -> Iterator[str]:
    """Every file that a row names, read whole; then what lies there and no row names.

    What lies there is listed first: bytes come before the row that names them. While a job is at work, files as young
    as a job may be are its own business.
    """
    root = Path(settings.FILES_FOLDER)
    lying = dict(_ages_of(root))
    at_work = Job.objects.filter(state=JobState.RUNNING).exists()
    named = _named_files()
    for (studio_id, sha256), who in sorted(named.items(), key=lambda pair: pair[1]):
        yield from _one_file(file_path(studio_id=studio_id, sha256=sha256), sha256, who)
    expected = {file_path(studio_id=studio_id, sha256=sha256) for studio_id, sha256 in named}
    for path, age_s in lying.items():
        if path not in expected and not (at_work and age_s < settings.JOB_TIME_LIMIT_S):
            what = "half written by a process that ended" if path.name.startswith(TORN) else "named by no record"
            yield f"File {path.relative_to(root)}: {what}."


def _ages_of(root: Path) -> Iterator[tuple[Path, float]]:
    """Every file under the folder and how many seconds ago it was written."""
    now = time.time()
    for path in sorted(root.rglob("*")):
        with suppress(FileNotFoundError):  # a half written file may get its name meanwhile
            if path.is_file():
                yield path, now - path.stat().st_mtime


def _named_files() -> dict[tuple[UUID, str], str]:
    named: dict[tuple[UUID, str], str] = {}
    for studio_id, sha256, payload_id in _bundles():
        named[studio_id, sha256] = f"Bundle of job {payload_id}"
    rows = Recording.objects.values_list("studio_id", "pk", "sha256", "channels_sha256")
    for studio_id, pk, sha256, channels_sha256 in rows.iterator():
        named[studio_id, sha256] = f"Recording {pk}"
        if channels_sha256:
            named[studio_id, channels_sha256] = f"Channels of recording {pk}"
    return named


def _bundles() -> Iterator[tuple[UUID, str, UUID]]:
    for studio_id, pk, payload in Job.objects.values_list("studio_id", "pk", "payload").iterator():
        if isinstance(payload, dict) and isinstance(payload.get("sha256"), str):
            yield studio_id, payload["sha256"], pk


def _one_file(path: Path, sha256: str, who: str) -> Iterator[str]:
    try:
        with path.open("rb") as file:
            digest = hashlib.sha256()
            while chunk := file.read(CHUNK_BYTES):
                digest.update(chunk)
    except FileNotFoundError:
        yield f"{who}: its file {sha256} is missing; look for it in a backup."
    except OSError as error:
        yield f"{who}: its file {sha256} cannot be read ({error.strerror})."
    else:
        if digest.hexdigest() != sha256:
            yield f"{who}: its file {sha256} holds other bytes; look for it in a backup."


def _reports() -> Iterator[str]:
    for pk, number, pdf, sha256 in Report.objects.values_list("pk", "number", "pdf", "pdf_sha256").iterator(50):
        if hashlib.sha256(bytes(pdf)).hexdigest() != sha256:
            yield f"Report {number} ({pk}): its PDF holds other bytes than were issued."


def _jobs(now: datetime) -> Iterator[str]:
    for job in Job.objects.defer("traceback").order_by("pk").iterator():
        who = f"Job {job.pk} ({job.kind}, {job.state})"
        if (job.ended_at is not None) != (job.state in ENDED):
            yield f"{who}: " + ("it ended at no time." if job.ended_at is None else "it has ended already.")
        if job.state == JobState.RUNNING and (job.lease_until is None or job.lease_until < now):
            yield f"{who}: no worker holds it any more; the next start of the worker takes it up again."
        if job.state == JobState.DONE and job.result is None:
            yield f"{who}: it left no result."
        yield from _missing_results(job, who)


def _missing_results(job: Job, who: str) -> Iterator[str]:
    result = job.result if isinstance(job.result, dict) else {}
    for key, model in MADE_BY_JOBS.items():
        if key in result and not model._default_manager.filter(pk=result[key]).exists():
            yield f"{who}: the {key} {result[key]} that it made is not there (any more)."


def _accounts() -> Iterator[str]:
    for pk in User.objects.filter(membership__isnull=True, is_superuser=False).values_list("pk", flat=True):
        yield f"Account {pk}: it belongs to no studio."


def _dangling_rows() -> Iterator[str]:
    """References to rows that are not there; PostgreSQL holds them by itself, SQLite only while it is told to."""
    if connection.vendor != "sqlite":
        return
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA foreign_key_check")
        for table, rowid, parent, _ in cursor.fetchall():
            yield f"Table {table}, row {rowid}: it names a row of {parent} that is not there."
        cursor.execute("PRAGMA quick_check(20)")
        for (said,) in cursor.fetchall():
            if said != "ok":
                yield f"Database: {said}"

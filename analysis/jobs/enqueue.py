"""Asking for work: the row first, the wake-up when the row is committed. Only doors and commands call this."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction

from analysis.jobs.tasks import wake_soon
from analysis.results.models import USER_PRIORITY, Job
from analysis.results.services.jobs import job_create
from studio.records.log_fields import note_log_field
from studio.records.models import FieldSession, Studio, User


def enqueue(
    *,
    kind: str,
    studio: Studio,
    by: User | None,
    payload: Mapping[str, Any] | None = None,
    session: FieldSession | None = None,
    priority: int = USER_PRIORITY,
) -> Job:
    """Write the job and wake a worker once the row is there for it to see."""
    job = job_create(kind=kind, studio=studio, by=by, payload=payload, session=session, priority=priority)
    note_log_field("job", str(job.pk))
    transaction.on_commit(wake_soon)
    return job

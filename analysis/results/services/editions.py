"""Editions of standings: asked for when evidence changes, and kept. Making one is `analysis.jobs.editions`' part."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from analysis.results.evidence import Evidence
from analysis.results.models import BACKGROUND_PRIORITY, CountedGroup, Edition, Job, JobState, LedgerEntry, Standings
from analysis.results.services.jobs import job_create
from studio.records.models import Studio
from studio.records.services.events import note_event, turn

KIND = "make_edition"


def edition_due(*, studio: Studio) -> None:
    """Ask for a new edition unless one is waiting already. Nobody is woken: the sweep sees the row within seconds."""
    if not Job.objects.filter(studio=studio, kind=KIND, state=JobState.QUEUED).exists():
        job_create(kind=KIND, studio=studio, by=None, priority=BACKGROUND_PRIORITY)


def edition_store(
    *,
    studio: Studio,
    number: int,
    evidence: Evidence,
    at: datetime,
    standings: Sequence[Standings],
    entries: Sequence[LedgerEntry],
    groups: Sequence[CountedGroup] = (),
) -> Edition:
    """Keep an edition with its tables, and in the same transaction what the ledger must know of them.

    Tables of older editions go: nobody can ask for them any more.
    """
    with turn(studio):
        edition = Edition.objects.create(
            studio=studio, number=number, arms=len(evidence.category), evidence_sha256=evidence.sha256, made_at=at
        )
        for row in standings:
            row.edition = edition
        Standings.objects.bulk_create(standings, batch_size=100)
        LedgerEntry.objects.bulk_create(entries, batch_size=100)
        CountedGroup.objects.bulk_create(groups, batch_size=100)
        Standings.objects.filter(studio=studio).exclude(edition=edition).delete()
        note_event(studio=studio, by=None, verb="made", record=edition)
        return edition

"""Erasing a rider: every row and file about them goes, and the trail forgets their words without breaking.

It lives here, because what hangs on a rider's records reaches up to the reports. What stays is the trail's bare ids
and times, and figures over many riders, from which the withdrawn consent takes this one at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from analysis.results.models import Analysis, Job
from analysis.results.services.evidence import evidence_follow
from reports.models import Report
from studio.records.errors import Conflict, Unusable, fault, sentence
from studio.records.models import (
    Bike,
    Consent,
    Correction,
    EquipmentItem,
    EventDetail,
    FieldSession,
    KeptAnswer,
    Membership,
    Mounting,
    Position,
    Recording,
    Rider,
    Run,
    Setup,
    User,
)
from studio.records.services import write
from studio.records.services.consents import consent_withdraw
from studio.records.services.events import note_event
from studio.records.store import discard_file

BATCH = 500


def rider_erase(*, rider: Rider, code: str, by: User) -> None:
    """Erase all that the studio holds of a rider, their account too. `code` says that it is meant.

    Raises
    ------
    Unusable
        When `code` is not the rider's.
    Conflict
        When the rider was erased meanwhile.
    """
    if code != rider.code:
        wrong = fault("code", code, f"the rider's own code, {rider.code}, to say that erasing them is meant")
        raise Unusable(sentence("Nothing was erased", [wrong]), faults=(wrong,))
    studio = rider.studio
    with write.change_of(studio):
        if not Rider.objects.filter(pk=rider.pk).exists():
            raise Conflict("This rider is not here any more.")
        _withdraw_all(rider, by)
        rows = list(_rows_of(rider))
        ids = [pk for one in rows for pk in one.values_list("pk", flat=True)]
        files = _files_of(rider)
        _forget_words(ids, rider.user_id)
        _forget_kept_answers(rider)
        note_event(studio=studio, by=by if by.pk != rider.user_id else None, verb="erased", record=rider)
        _keep_shared_items(rider)
        for one in _rows_of(rider):
            one.delete()
        if rider.user_id is not None:
            User.objects.filter(pk=rider.user_id).delete()
        transaction.on_commit(partial(_discard, studio.pk, files))


def _withdraw_all(rider: Rider, by: User) -> None:
    for consent in Consent.objects.filter(rider=rider, withdrawn_at__isnull=True).select_related("studio"):
        consent_withdraw(record=consent, by=by, version=consent.version, withdrawn_at=timezone.now())
    evidence_follow(rider=rider)


def _rows_of(rider: Rider) -> Iterator[QuerySet[Any]]:
    """What is about the rider, in an order in which it can go."""
    sessions = FieldSession.objects.filter(rider=rider)
    yield Correction.objects.filter(rider=rider)
    yield Report.objects.filter(analysis__session__in=sessions)
    yield _jobs_of(rider)
    yield Run.objects.filter(Q(session__in=sessions) | Q(setup__bike__rider=rider))
    yield Analysis.objects.filter(session__in=sessions)
    yield Recording.objects.filter(session__in=sessions)
    yield sessions
    yield Mounting.objects.filter(Q(bike__rider=rider) | Q(rider=rider) | Q(item__rider=rider))
    yield Setup.objects.filter(bike__rider=rider)
    yield Position.objects.filter(bike__rider=rider)
    yield EquipmentItem.objects.filter(rider=rider)
    yield Bike.objects.filter(rider=rider)
    yield Consent.objects.filter(rider=rider)
    yield Membership.objects.filter(user__rider=rider)
    yield Rider.objects.filter(pk=rider.pk)


def _jobs_of(rider: Rider) -> QuerySet[Job]:
    """Jobs that worked on the rider's sessions, brought them in, or were asked for by the rider."""
    sessions = FieldSession.objects.filter(rider=rider)
    named = [str(pk) for pk in sessions.values_list("pk", flat=True)]
    recordings = [str(pk) for pk in Recording.objects.filter(session__in=sessions).values_list("pk", flat=True)]
    about = Q(session__in=sessions) | Q(result__session__in=named) | Q(payload__recording__in=recordings)
    if rider.user_id is not None:
        about |= Q(requested_by_id=rider.user_id)
    return Job.objects.filter(about, studio_id=rider.studio_id)


def _keep_shared_items(rider: Rider) -> None:
    """A piece that another rider has ridden, too, becomes the studio's: their tests name it."""
    shared = Setup.objects.exclude(bike__rider=rider).filter(slots__item__rider=rider)
    EquipmentItem.objects.filter(pk__in=shared.values("slots__item"), rider=rider).update(rider=None)


def _files_of(rider: Rider) -> set[str]:
    recordings = Recording.objects.filter(session__rider=rider).values_list("sha256", "channels_sha256")
    payloads = _jobs_of(rider).values_list("payload", flat=True)
    bundles = [payload.get("sha256") for payload in payloads if isinstance(payload, dict)]
    return {sha256 for pair in [*recordings, bundles] for sha256 in pair if sha256}


def _discard(studio_id: UUID, files: set[str]) -> None:
    """Take away the files that no row of another rider names."""
    for sha256 in sorted(files):
        recordings = Recording.objects.filter(Q(sha256=sha256) | Q(channels_sha256=sha256), studio_id=studio_id)
        if not recordings.exists() and not Job.objects.filter(studio_id=studio_id, payload__sha256=sha256).exists():
            discard_file(studio_id=studio_id, sha256=sha256)


def _forget_words(ids: list[UUID], user_id: UUID | None) -> None:
    """Empty the side rows of every act on these records, and of every act of the rider's account."""
    empty = {"salt": "", "text": {}, "address": ""}
    for start in range(0, len(ids), BATCH):
        EventDetail.objects.filter(event__record_id__in=ids[start : start + BATCH]).update(**empty)
    if user_id is not None:
        EventDetail.objects.filter(Q(event__actor_id=user_id) | Q(event__record_id=user_id)).update(**empty)


def _forget_kept_answers(rider: Rider) -> None:
    """Answers kept under an Idempotency-Key may quote the rider; a repeated request is then a new one."""
    named = [rider.pk, *FieldSession.objects.filter(rider=rider).values_list("pk", flat=True)]
    named += Bike.objects.filter(rider=rider).values_list("pk", flat=True)
    for pk in named:
        KeptAnswer.objects.filter(body__contains=str(pk)).delete()

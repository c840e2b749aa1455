"""Answers kept under an Idempotency-Key: claimed before the work, filled in within the work's own transaction.

So a crash leaves either a claim without an answer, which lapses, or the write together with its answer. There is no
third state: what was written is never written again by a repeated request.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from studio.records.models import KeptAnswer, User

KEPT_FOR = timedelta(days=7)
CLAIM_LASTS = timedelta(minutes=1)
"""How long a request may run before another one under its key takes over; a crashed one is waited for as long."""


def answer_claim(*, user: User, path: str, key: str, request_sha256: str) -> tuple[KeptAnswer, bool]:
    """The row of a key, and whether it was made just now: then the caller does the work."""
    mine = KeptAnswer.objects.filter(user=user, path=path, key=key)
    with transaction.atomic():
        mine.filter(_over()).delete()
        return KeptAnswer.objects.get_or_create(
            user=user, path=path, key=key, defaults={"request_sha256": request_sha256, "created_at": timezone.now()}
        )


def answer_keep(*, claim: KeptAnswer, status: int, headers: Mapping[str, str], body: str) -> bool:
    """Fill the answer in; False when the claim lapsed and somebody else took over."""
    mine = KeptAnswer.objects.filter(pk=claim.pk, status__isnull=True)
    return bool(mine.update(status=status, headers=dict(headers), body=body))


def answer_release(*, claim: KeptAnswer) -> None:
    """Give the key back: nothing was written, and the next request may fare better."""
    KeptAnswer.objects.filter(pk=claim.pk, status__isnull=True).delete()


def forget_old_answers() -> int:
    """Delete what is older than answers are kept; gives how many."""
    old = KeptAnswer.objects.filter(_over())
    return old.delete()[0] if old.exists() else 0  # most times there is none: no write lock for that


def _over() -> Q:
    now = timezone.now()
    return Q(created_at__lt=now - KEPT_FOR) | Q(status__isnull=True, created_at__lt=now - CLAIM_LASTS)

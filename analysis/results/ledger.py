"""The ledger's rows as the terms of `analysis.core.pool.hiding`, and back. Keys are random, or made of a random one:
nobody who lacks the map from riders to keys can tell whose they are."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

import numpy as np

from analysis.core.pool.arms import Codes
from analysis.core.pool.hiding import Hidden, sorted_unknowns
from analysis.core.types import Array
from analysis.results.models import ContributorKey, CountedGroup, LedgerEntry
from studio.records.models import Studio


@dataclass(frozen=True, slots=True, eq=False)
class ArmKeys:
    """Keys of arms; arrays of shape (n,)."""

    contributor: Codes
    arm: Codes
    cell: Codes

    def table(self) -> Codes:
        return np.column_stack([self.contributor, self.arm, self.cell])


def contributor_keys(studio: Studio, riders: Iterable[UUID]) -> dict[UUID, int]:
    """Every rider's key, made for those who have none."""
    wanted = set(riders)
    there = dict(ContributorKey.objects.filter(studio=studio, rider__isnull=False).values_list("rider_id", "key"))
    new = [ContributorKey(studio=studio, rider_id=rider) for rider in sorted(wanted - there.keys())]
    ContributorKey.objects.bulk_create(new)
    return {rider: there[rider] for rider in wanted & there.keys()} | {
        row.rider_id: row.key for row in new if row.rider_id
    }


def arm_keys(keys: Mapping[UUID, int], arms: Sequence[tuple[UUID, UUID, UUID]]) -> ArmKeys:
    """Keys of arms given as rider, session and product.

    The same test of the same rider has the same key for as long as the map knows the rider: who withdraws and agrees
    again brings values of which something was told before.
    """
    owner = np.fromiter((keys[rider] for rider, _, _ in arms), np.int64, len(arms))
    arm = np.fromiter((_key(keys[rider], session, product) for rider, session, product in arms), np.int64, len(arms))
    cell = np.fromiter((_key(keys[rider], product) for rider, _, product in arms), np.int64, len(arms))
    return ArmKeys(owner, arm, cell)


def _key(secret: int, *names: UUID) -> int:
    text = secret.to_bytes(8, "big") + b"".join(name.bytes for name in names)
    return int.from_bytes(hashlib.sha256(text).digest()[:8], "big") >> 1


def hidden_of(
    studio: Studio, category: str, present: ArmKeys, *, departure_m4: float, error_m4: float
) -> tuple[Hidden, Codes]:
    """What is hidden of a category after all that was ever published, and where each present arm stands in it."""
    entries = list(LedgerEntry.objects.filter(studio=studio, category=category).order_by("id"))
    told = [np.frombuffer(entry.unknowns, np.int64).reshape(-1, 3) for entry in entries]
    every = np.vstack([present.table(), *told])
    _, first, which = np.unique(every[:, 1], return_index=True, return_inverse=True)
    unknowns, place = sorted_unknowns(every[first, 0], every[first, 2])
    where = place[which]
    hidden = Hidden(unknowns, departure_m4, error_m4, _counted(studio, category, every[first, 0]))
    start = len(present.arm)
    for entry, rows in zip(entries, told, strict=True):
        lines = np.zeros((entry.figures, first.size))
        lines[:, where[start : start + len(rows)]] = np.frombuffer(entry.weights, np.float32).reshape(entry.figures, -1)
        hidden.enter(lines)
        start += len(rows)
    return hidden, where[: len(present.arm)]


def _counted(studio: Studio, category: str, keys: Codes) -> Codes:
    """Who was counted ever, numbered as contributors are."""
    rows = CountedGroup.objects.filter(studio=studio, category=category).values_list("riders", flat=True)
    counted = [np.frombuffer(riders, np.int64) for riders in rows]
    return np.flatnonzero(np.isin(np.unique(keys), np.concatenate(counted))) if counted else np.empty(0, np.int64)


def entry_of(studio: Studio, category: str, keys: Codes, weights: Array, at: datetime) -> LedgerEntry:
    """A publication as a row, unsaved."""
    return LedgerEntry(
        studio=studio,
        category=category,
        figures=len(weights),
        unknowns=np.ascontiguousarray(keys, np.int64).tobytes(),
        weights=np.ascontiguousarray(weights, np.float32).tobytes(),
        published_at=at,
    )

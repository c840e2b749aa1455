"""What a category's new table says beside its effects: counts and slopes, between rows and core terms."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np
from django.db.models import Q

from analysis.core.pool.arms import Codes
from analysis.core.pool.extras import Behind, Column, Extras, Slope, extras_of
from analysis.core.pool.hiding import Hidden
from analysis.core.pool.publish import Table
from analysis.core.pool.tallies import Group, tally
from analysis.core.pool.transfer import contrasts_of
from analysis.results.evidence import Evidence
from analysis.results.ledger import ArmKeys, entry_of
from analysis.results.models import CountedGroup, LedgerEntry
from analysis.results.transfer import BIKE_KIND, MODERATORS, numbers_by_step
from studio.records.models import Studio

NO_EXTRAS: dict[str, Any] = {"faster_riders": None, "counted_riders": None, "slopes": []}


def columns_of(evidence: Evidence, order: Codes) -> tuple[Column, ...]:
    """Height, speed and yaw in their steps, and each kind of bike against the commonest."""
    numbers = [Column(each.name, each.unit, each.step, numbers_by_step(evidence, each)[order]) for each in MODERATORS]
    kinds, code = np.unique(evidence.bands[order, 0], return_inverse=True)
    first = int(np.bincount(code).argmax())
    for other in np.flatnonzero(np.arange(kinds.size) != first):
        values = np.where(code == other, 1.0, np.where(code == first, 0.0, np.nan))
        numbers.append(Column(BIKE_KIND, f"{kinds[other]} instead of {kinds[first]}", 1.0, values))
    return tuple(numbers)


@dataclass(slots=True, eq=False)
class MadeExtras:
    """Of one table, by product; and what must be kept of them."""

    by_product: dict[int, dict[str, Any]] = field(default_factory=dict)
    groups: list[CountedGroup] = field(default_factory=list)
    entries: list[LedgerEntry] = field(default_factory=list)

    def of(self, product: int) -> dict[str, Any]:
        """What the product's row says."""
        return self.by_product.get(product, NO_EXTRAS)


@dataclass(frozen=True, slots=True, eq=False)
class ExtrasOfCategory:
    """Makes them for a category's table of all riders."""

    studio: Studio
    category: str
    behind: Behind
    keys: ArmKeys
    at: datetime

    def made(self, table: Table, hidden: Hidden) -> MadeExtras:
        """Counts and slopes of a new table, as rows and as the ledger must know them."""
        before = self._groups_before(table)
        counted = {product: np.concatenate([group.riders for group in groups]) for product, groups in before.items()}
        found = extras_of(self.behind, table.shown, counted, hidden)
        out = MadeExtras()
        for product in map(int, table.shown[1:]):
            new = [found.groups[product]] if product in found.groups else []
            out.by_product[product] = self._row(product, table, [*before.get(product, []), *new], found)
            out.groups += [self._kept(product, table, group) for group in new]
        rows = np.flatnonzero(found.lines.any(axis=0))
        if rows.size:
            out.entries = [entry_of(self.studio, self.category, self.keys.table()[rows], found.lines[:, rows], self.at)]
        return out

    def _row(self, product: int, table: Table, groups: Sequence[Group], found: Extras) -> dict[str, Any]:
        pair = contrasts_of(self.behind.arms, product, int(table.shown[0]))
        counts = tally(groups, self.behind.owner[pair.rows[0]])
        return {
            "faster_riders": counts and counts[0],
            "counted_riders": counts and counts[1],
            "slopes": [_slope_row(slope) for slope in found.slopes[product]],
        }

    def _id(self, product: int) -> UUID:
        return UUID(self.behind.arms.products[product])

    def _groups_before(self, table: Table) -> Mapping[int, list[Group]]:
        """Groups of these two products, whichever was the reference then."""
        base = self._id(int(table.shown[0]))
        code = {self._id(int(product)): int(product) for product in table.shown[1:]}
        rows = CountedGroup.objects.filter(studio=self.studio, category=self.category)
        out: dict[int, list[Group]] = {}
        for row in rows.filter(Q(reference=base) | Q(product=base)).order_by("id"):
            other = row.product_id if row.reference_id == base else row.reference_id
            if other in code:
                group = Group(np.frombuffer(row.riders, np.int64), row.faster)
                out.setdefault(code[other], []).append(group if row.reference_id == base else group.turned())
        return out

    def _kept(self, product: int, table: Table, group: Group) -> CountedGroup:
        return CountedGroup(
            studio=self.studio,
            category=self.category,
            product_id=self._id(product),
            reference_id=self._id(int(table.shown[0])),
            riders=np.ascontiguousarray(group.riders, np.int64).tobytes(),
            faster=group.faster,
            counted_at=self.at,
        )


def _slope_row(slope: Slope) -> dict[str, Any]:
    return {
        "moderator": slope.by.name,
        "unit": slope.by.unit,
        "step": slope.by.step,
        "slope_m2": slope.slope_m2,
        "ci95_m2": slope.ci95_m2 and list(slope.ci95_m2),
        "riders": slope.riders,
        "withheld": slope.withheld,
    }

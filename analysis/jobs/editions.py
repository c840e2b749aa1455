"""The job that makes an edition of standings: evidence into core terms, tables back into rows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np
from django.utils import timezone

from analysis.core.pool.arms import Arms, Codes, arms_of
from analysis.core.pool.extras import Behind, Column
from analysis.core.pool.facts import Facts, facts_of
from analysis.core.pool.fit import fit
from analysis.core.pool.hiding import Hidden, departure_of
from analysis.core.pool.publish import WAITING, Standing, Stratum, Table, publish, reasons
from analysis.core.pool.rank import probability_of_smallest, rank_score
from analysis.jobs.edition_extras import ExtrasOfCategory, MadeExtras, columns_of
from analysis.results.evidence import Evidence, evidence_of
from analysis.results.ledger import ArmKeys, arm_keys, contributor_keys, entry_of, hidden_of
from analysis.results.models import CountedGroup, Edition, LedgerEntry, Standings
from analysis.results.services.attempts import Attempt
from analysis.results.services.editions import edition_store
from analysis.results.standings import current_edition, without_consent
from analysis.results.strata import STRATA
from studio.records.models import Studio

MEDIAN_DIGITS = 2
"""A reference's median drag area is told to 0.01 m2: two medians of one session must not tell a difference."""


def make_edition(attempt: Attempt) -> dict[str, Any]:
    """Make a new edition where the evidence has changed; the result names the edition that counts."""
    studio = attempt.job.studio
    attempt.progress(0.02, "reading the evidence")
    evidence, before = evidence_of(studio), current_edition(studio)
    if before is not None and before.evidence_sha256 == evidence.sha256:
        return {"edition": str(before.pk)}
    number, at = (before.number + 1 if before else 1), timezone.now()
    keys = contributor_keys(studio, evidence.rider)
    tables: list[Standings] = []
    entries: list[LedgerEntry] = []
    groups: list[CountedGroup] = []
    categories = sorted(set(evidence.category))
    for done, category in enumerate(categories):
        attempt.progress(0.05 + 0.85 * done / len(categories), f"pooling {category}")
        made = _Category.of(studio, evidence.of(category), category, keys)
        rows, more, counted = made.edition(before, number, at)
        tables, entries, groups = tables + rows, entries + more, groups + counted
    attempt.progress(0.9, "keeping the edition")
    with attempt.atomic():
        edition = edition_store(
            studio=studio,
            number=number,
            evidence=evidence,
            at=at,
            standings=tables,
            entries=entries,
            groups=groups,
        )
        result = {"edition": str(edition.pk)}
        attempt.done(result)
    return result


@dataclass(frozen=True, slots=True, eq=False)
class _Category:
    """One category's evidence on its way to tables."""

    studio: Studio
    name: str
    arms: Arms
    keys: ArmKeys
    strata: tuple[Stratum, ...]
    facts: Facts
    columns: tuple[Column, ...]

    @classmethod
    def of(cls, studio: Studio, evidence: Evidence, name: str, keys: dict[UUID, int]) -> _Category:
        names = [str(x) for x in evidence.session], [str(x) for x in evidence.rider], [str(x) for x in evidence.product]
        arms = arms_of(*names, evidence.cda_m2, evidence.se_m2)
        order = np.argsort(arms.study, kind="stable")
        three = list(zip(evidence.rider, evidence.session, evidence.product, strict=True))
        made = arm_keys(keys, [three[at] for at in order])
        strata = tuple(Stratum(each.ways, evidence.within(each)[order]) for each in STRATA)
        sorted_arms = arms.take(order)
        base = int(np.bincount(arms.product).argmax())
        facts = facts_of(fit(sorted_arms, base))
        return cls(studio, name, sorted_arms, made, strata, facts, columns_of(evidence, order))

    def edition(
        self, before: Edition | None, number: int, at: datetime
    ) -> tuple[list[Standings], list[LedgerEntry], list[CountedGroup]]:
        """Rows of this category, and what must be kept of it for ever."""
        old = self._old(before)
        error_m4 = float(np.median(self.arms.se_m2**2))
        departure_m4 = departure_of(self.facts.tau_used_m2, error_m4)
        hidden, place = hidden_of(self.studio, self.name, self.keys, departure_m4=departure_m4, error_m4=error_m4)
        standing = {at: self._standing(row) for at, row in old.items()}
        extras = MadeExtras()

        def beside(table: Table) -> None:
            nonlocal extras
            extras = self._extras(table, place, hidden, at)

        made = publish(self.arms, place, self.strata, standing, hidden, self.facts.tau_used_m2, beside=beside)
        whole = made[0] if 0 in made else old.get(0)
        rows = []
        for which in range(len(STRATA)):
            table = made.get(which)
            if table is not None:
                rows.append(self._new(which, table, number, extras if which == 0 else MadeExtras()))
            elif which in old and which not in made:
                rows.append(self._kept(which, old[which]))
            elif self.strata[which].rows.any():
                rows.append(self._nothing(which, number, waiting=whole is None and which > 0))
        entries = [
            entry_of(self.studio, self.name, self.keys.table()[table.rows], table.weights, at)
            for table in made.values()
            if table is not None
        ]
        return rows, entries + extras.entries, extras.groups

    def _extras(self, table: Table, place: Codes, hidden: Hidden, at: datetime) -> MadeExtras:
        """Counts and slopes of a new table of all riders, once riders are enough to say how they spread."""
        if not self.facts.enough or self.facts.quantile is None:
            return MadeExtras()
        behind = Behind(
            self.arms, self.keys.contributor, place, self.columns, self.facts.tau_used_m2, self.facts.quantile
        )
        return ExtrasOfCategory(self.studio, self.name, behind, self.keys, at).made(table, hidden)

    def _old(self, before: Edition | None) -> dict[int, Standings]:
        """Tables of the edition before that show something, by number of stratum."""
        if before is None:
            return {}
        places = {(each.bike_kind, each.height, each.yaw): at for at, each in enumerate(STRATA)}
        rows = Standings.objects.filter(edition=before, category=self.name)
        return {places[row.bike_kind, row.height_band, row.yaw_band]: row for row in rows if row.covariance}

    def _standing(self, row: Standings) -> Standing:
        behind = np.frombuffer(row.contributors, np.int64)
        gone = np.fromiter(without_consent(self.studio.pk), np.int64)
        there = np.isin(behind, self.keys.contributor).all() and not np.isin(gone, behind).any()
        shown = sum(not each["withheld"] for each in row.products)
        return Standing(int(row.figures["studies"]), shown, bool(there))

    def _row(
        self,
        which: int,
        figures: dict[str, Any],
        products: list[dict[str, Any]],
        covariance: bytes | memoryview = b"",
        contributors: bytes | memoryview = b"",
    ) -> Standings:
        stratum = STRATA[which]
        return Standings(
            studio=self.studio,
            category=self.name,
            bike_kind=stratum.bike_kind,
            height_band=stratum.height,
            yaw_band=stratum.yaw,
            figures=figures,
            products=products,
            covariance=covariance,
            contributors=contributors,
        )

    def _new(self, which: int, table: Table, number: int, extras: MadeExtras) -> Standings:
        figures = self.facts.document() | {
            "as_of": number,
            "studies": table.all_studies,
            "prediction_df": table.prediction_df if self.facts.enough else None,
        }
        products = [*self._shown(table, extras), *self._withheld(table.withheld)]
        lower = table.covariance[np.tril_indices(table.shown.size)]
        contributors = np.unique(self.keys.contributor[table.rows])
        return self._row(which, figures, products, np.ascontiguousarray(lower).tobytes(), contributors.tobytes())

    def _shown(self, table: Table, extras: MadeExtras) -> list[dict[str, Any]]:
        best = probability_of_smallest(table.effects_m2, table.covariance) if self.facts.enough else None
        score = rank_score(table.effects_m2, table.covariance) if self.facts.enough else None
        return [
            {
                "product": self.arms.products[product],
                "effect_m2": round(float(table.effects_m2[at]), 4),
                "p_best": None if best is None else round(float(best[at]), 3),
                "score": None if score is None else round(float(score[at]), 3),
                "riders": int(table.riders[product]),
                "studies": int(table.studies[product]),
                "component": 1,
                "median_cda_m2": self._median(table.rows, int(product)),
                "withheld": None,
                **extras.of(int(product)),
            }
            for at, product in enumerate(table.shown)
        ]

    def _median(self, rows: Codes, product: int) -> float:
        own = rows[self.arms.product[rows] == product]
        return round(float(np.median(self.arms.value_m2[own])), MEDIAN_DIGITS)

    def _withheld(self, why: Mapping[int, str]) -> list[dict[str, Any]]:
        return [{"product": self.arms.products[product], "withheld": reason} for product, reason in why.items()]

    def _kept(self, which: int, row: Standings) -> Standings:
        """A table that stands, with the products that came since."""
        known = {each["product"] for each in row.products}
        new = [{"product": product, "withheld": WAITING} for product in self.arms.products if product not in known]
        return self._row(which, row.figures, [*row.products, *new], row.covariance, row.contributors)

    def _nothing(self, which: int, number: int, *, waiting: bool) -> Standings:
        why = reasons(self.arms, self.strata[which].rows, waiting=waiting)
        figures = self.facts.document() | {"as_of": number, "studies": 0, "prediction_df": None}
        return self._row(which, figures, self._withheld(why))

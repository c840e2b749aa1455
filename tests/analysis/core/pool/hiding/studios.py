"""Studios to attack: the project's own, and one that keeps the plain rule of three."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from analysis.core.pool.arms import Arms
from analysis.core.pool.extras import Behind, Column, Extras, extras_of
from analysis.core.pool.facts import RIDERS_FOR_SPREAD, facts_of
from analysis.core.pool.fit import fit
from analysis.core.pool.hiding import Hidden, departure_of, sorted_unknowns
from analysis.core.pool.publish import Standing, Stratum, Table, publish
from analysis.core.pool.tallies import Group, tally
from analysis.core.pool.transfer import contrasts_of
from analysis.results.strata import STRATA
from tests.analysis.core.pool.hiding.attacker import Answer, Counted
from tests.analysis.core.pool.hiding.world import CATEGORIES, PRODUCTS_IN_ONE, Study

BANDS = [(each.bike_kind, each.height, each.yaw) for each in STRATA]
WAYS = [each.ways for each in STRATA]


@dataclass(slots=True, eq=False)
class Shown:
    """What a table of a stratum says, and whom it is of."""

    base: int
    effects: dict[int, float]
    as_of: int
    tau_m2: float
    studies: int
    riders: set[int]
    counts: dict[int, tuple[int, int]] = field(default_factory=dict)
    slopes: dict[tuple[int, int], float] = field(default_factory=dict)


def arms_of_studies(studies: Sequence[Study]) -> Arms:
    rows = [
        (at, s.rider, p, s.values[k], s.errors[k]) for at, s in enumerate(studies) for k, p in enumerate(s.products)
    ]
    study, rider, tested, value, error = (np.array(column) for column in zip(*rows, strict=True))
    return Arms(study, rider, tested, value, error, tuple(map(str, range(PRODUCTS_IN_ONE))))


def tau_of(arms: Arms) -> float:
    return facts_of(fit(arms, int(np.bincount(arms.product).argmax()))).tau_used_m2


@dataclass(eq=False)
class Studio:
    """One that publishes by the project's rule; `ask` answers as the API does."""

    studies: Sequence[Study]
    tables: dict[tuple[int, int], Shown] = field(default_factory=dict)
    groups: dict[tuple[int, int, int], list[Group]] = field(default_factory=dict)
    counted: list[Counted] = field(default_factory=list)  # all that counts ever gave away

    def __post_init__(self) -> None:
        self.hidden, self.place = [], []
        for category in range(CATEGORIES):
            own = [s for s in self.studies if s.category == category]
            rider = np.array([s.rider for s in own for _ in s.products])
            cell = np.array([s.rider * PRODUCTS_IN_ONE + p for s in own for p in s.products])
            unknowns, place = sorted_unknowns(rider, cell)
            error = np.median([e**2 for s in own for e in s.errors])
            self.hidden.append(Hidden(unknowns, 0.0, float(error)))
            starts = np.cumsum([0, *(len(s.products) for s in own)])
            self.place.append({s.number: place[a:b] for s, a, b in zip(own, starts, starts[1:], strict=False)})

    def make(self, edition: int) -> None:
        for category in range(CATEGORIES):
            here = [s for s in self.studies if s.category == category and s.stands(edition)]
            self.tables = {k: v for k, v in self.tables.items() if k[0] != category or here}
            if here:
                self._category(category, here, edition)

    def _category(self, category: int, here: Sequence[Study], edition: int) -> None:
        arms, tau = arms_of_studies(here), tau_of(arms_of_studies(here))
        riders = {s.rider for s in here}
        old = {at: t for (own, at), t in self.tables.items() if own == category}
        standing = {at: Standing(t.studies, len(t.effects), t.riders <= riders) for at, t in old.items()}
        strata = [
            Stratum(ways, np.array([s.within(bands) for s in here for _ in s.products]))
            for bands, ways in zip(BANDS, WAYS, strict=True)
        ]
        hidden = self.hidden[category]
        hidden.departure_m4 = departure_of(tau, hidden.error_m4)
        place = np.concatenate([self.place[category][s.number] for s in here])
        numbers = np.array([s.numbers for s in here for _ in s.products])
        columns = [Column(str(at), "", 1.0, column) for at, column in enumerate(numbers.T)]
        extras: tuple[dict, dict] = ({}, {})

        def beside(table: Table) -> None:
            nonlocal extras
            if len(riders) >= RIDERS_FOR_SPREAD:
                extras = self._extras(category, Behind(arms, arms.rider, place, columns, tau, 2.0), table, edition)

        for at, table in publish(arms, place, strata, standing, hidden, tau, beside=beside).items():
            self.tables.pop((category, at), None)
            if table is not None:
                effects = {int(p): round(float(e), 4) for p, e in zip(table.shown, table.effects_m2, strict=True)}
                behind = {here[study].rider for study in arms.study[table.rows]}
                shown = Shown(int(table.shown[0]), effects, edition, tau, table.all_studies, behind)
                shown.counts, shown.slopes = extras if at == 0 else ({}, {})
                self.tables[category, at] = shown

    def _extras(self, category: int, behind: Behind, table: Table, edition: int) -> tuple[dict, dict]:
        """As `analysis.jobs.edition_extras` does it, with lists for rows."""
        counts, base = {}, int(table.shown[0])
        before = {int(p): self._groups(category, int(p), base) for p in table.shown[1:]}
        counted = {p: np.concatenate([g.riders for g in own]) for p, own in before.items() if own}
        found = extras_of(behind, table.shown, counted, self.hidden[category])
        for product, own in before.items():
            new = found.groups.get(product)
            pair = contrasts_of(behind.arms, product, base)
            told = tally([*own, *([new] if new else [])], pair.rider)
            if told is not None:
                counts[product] = told
            self._give_away(category, (product, base), found, edition)
        slopes = {
            (product, int(slope.by.name)): slope.slope_m2
            for product, slopes in found.slopes.items()
            for slope in slopes
            if slope.slope_m2 is not None
        }
        return counts, slopes

    def _groups(self, category: int, product: int, base: int) -> list[Group]:
        own = self.groups.get((category, product, base), [])
        return own + [group.turned() for group in self.groups.get((category, base, product), [])]

    def _give_away(self, category: int, pair: tuple[int, int], found: Extras, edition: int) -> None:
        """A new group with its count; or that it was nearly of one mind."""
        new = found.groups.get(pair[0])
        if new is not None:
            self.groups.setdefault((category, *pair), []).append(new)
            self.counted.append(Counted(category, *pair, edition, frozenset(new.riders.tolist()), new.faster))

    def ask(self, category: int, stratum: tuple[str, str, str], reference: int | None) -> Answer | None:
        table = self.tables.get((category, BANDS.index(stratum)))
        if table is None:
            return None
        base = table.base if reference is None else reference
        effects = {name: round(effect - table.effects[base], 4) for name, effect in table.effects.items()}
        beside = (table.counts, table.slopes) if base == table.base else ({}, {})
        return Answer(base, effects, table.as_of, table.tau_m2, *beside)

    def shown(self) -> tuple[float, float, float]:
        """Shares of products in the whole, of one-way strata with figures, and of products in one-way strata."""
        one = [(table, WAYS[at]) for (_, at), table in self.tables.items()]
        whole = sum(len(table.effects) for table, ways in one if ways == 0)
        narrow = [len(table.effects) for table, ways in one if ways == 1]
        strata, products = CATEGORIES * WAYS.count(1), CATEGORIES * PRODUCTS_IN_ONE
        return whole / products, len(narrow) / strata, sum(narrow) / products / WAYS.count(1)


class RuleOfThree(Studio):
    """Shows every product that three riders have tested, anew at every edition; nobody counts what that tells."""

    def _category(self, category: int, here: Sequence[Study], edition: int) -> None:
        tau = tau_of(arms_of_studies(here))
        for at, bands in enumerate(BANDS):
            inside = [s for s in here if s.within(bands)]
            self.tables.pop((category, at), None)
            if inside:
                self._table(category, at, inside, (edition, tau))

    def _table(self, category: int, at: int, inside: Sequence[Study], when: tuple[int, float]) -> None:
        arms = arms_of_studies(inside)
        riders = np.array([np.unique(arms.rider[arms.product == p]).size for p in range(PRODUCTS_IN_ONE)])
        base = int(riders.argmax())
        fitted = fit(arms, base)
        effects = dict.fromkeys((base,), 0.0)
        solved = dict(zip(fitted.members, fitted.best.effects, strict=True))
        for product in fitted.members:
            if riders[product] >= 3:
                effects[int(product)] = round(float(solved[product]), 4)
        if riders[base] >= 3 and len(effects) > 1:
            behind = {s.rider for s in inside}
            self.tables[category, at] = Shown(base, effects, when[0], when[1], len(inside), behind)

"""An attacker on published standings, written from the contract and the API's questions alone.

It asks every question that the fixed bands allow at every edition. It is as strong as an attacker can be without
breaking in: it knows who tested what, when, how precisely and how figures are pooled, all but the values; it knows all
values of any one rider. What it reads are linear figures of the values, so it takes from the values' prior what the
figures tell (Gaussian conditioning) and counts what is left of every other rider's own contrasts.

No line is shared with the ledger that defends: weights come from one dense system for each answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations, product

import numpy as np

from tests.analysis.core.pool.hiding.world import BIKE_KINDS, CATEGORIES, HEIGHTS, YAWS, Study

ROUNDING_M2 = 0.0001
QUESTIONS = [stratum for stratum in product(("", *BIKE_KINDS), ("", *HEIGHTS), ("", *YAWS))]


@dataclass(frozen=True, slots=True)
class Answer:
    """What one question gave: effects against the reference, the edition that the figures are of, and tau.

    `counts` says on how many riders a product was faster and of how many; `slopes` how much its effect changes with one
    step of a study's numbers, by product and number.
    """

    reference: int
    effects: dict[int, float]
    as_of: int
    tau_m2: float
    counts: dict[int, tuple[int, int]] = field(default_factory=dict)
    slopes: dict[tuple[int, int], float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Counted:
    """What counts gave away of some riders at once: how many of them were faster on a product than on the other, or
    (None) that at most one was, or all but at most one."""

    category: int
    product: int
    reference: int
    edition: int
    riders: frozenset[int]
    faster: int | None


Ask = Callable[[int, tuple[str, str, str], int | None], Answer | None]


@dataclass(eq=False)
class Attacker:
    """Collects answers about one category and reconstructs what riders measured."""

    studies: Sequence[Study]
    category: int
    tau_m2: float
    lines: list[np.ndarray] = field(default_factory=list)
    read: list[float] = field(default_factory=list)
    seen: set[tuple[object, ...]] = field(default_factory=set)
    slopes: int = 0  # of the lines
    misread: float = 0.0  # largest difference of an answer from what its weights make of the true values

    def __post_init__(self) -> None:
        own = [study for study in self.studies if study.category == self.category]
        self.studies = own
        self.arms = [(study, arm) for study in own for arm in range(len(study.products))]
        self.first = {study.number: at for at, (study, arm) in enumerate(self.arms) if arm == 0}
        self.values = np.array([study.values[arm] for study, arm in self.arms])
        self.errors = np.array([study.errors[arm] for study, arm in self.arms])

    def question(self, ask: Ask) -> None:
        """Ask everything once; answers that say nothing new against another reference are only compared."""
        for stratum in QUESTIONS:
            answer = ask(self.category, stratum, None)
            if answer is None or len(answer.effects) < 2:
                continue
            key = (stratum, answer.as_of, *sorted(answer.effects.items()))
            if key in self.seen:
                continue
            self.seen.add(key)
            for reference in answer.effects:
                other = ask(self.category, stratum, reference)
                assert other is not None
                for name, effect in other.effects.items():
                    told = answer.effects[name] - answer.effects[reference]
                    assert abs(effect - told) < 1e-9, "another reference tells more than the first"
            self._note(stratum, answer)

    def _note(self, stratum: tuple[str, str, str], answer: Answer) -> None:
        behind = [study for study in self.studies if study.stands(answer.as_of) and study.within(stratum)]
        weights = self._weights(behind, answer)
        for name, effect in answer.effects.items():
            if name != answer.reference:
                self.lines.append(weights[name])
                self.read.append(effect)
                self.misread = max(self.misread, abs(float(weights[name] @ self.values) - effect))
        for (name, number), slope in answer.slopes.items():
            line = self._slope_line(behind, (name, answer.reference), number, answer.tau_m2)
            self.lines.append(line)
            self.read.append(slope)
            self.slopes += 1
            self.misread = max(self.misread, abs(float(line @ self.values) - slope))

    def pairs(self, behind: Iterable[Study], names: tuple[int, int]) -> list[tuple[Study, int, int]]:
        """Studies that hold both products, with the rows of their arms."""
        return [
            (s, *(self.first[s.number] + s.products.index(name) for name in names))
            for s in behind
            if set(names) <= set(s.products)
        ]

    def _slope_line(self, behind: Iterable[Study], names: tuple[int, int], number: int, tau_m2: float) -> np.ndarray:
        """One dense generalised least squares of the differences on a number of their studies."""
        pairs = self.pairs(behind, names)
        riders = np.array([study.rider for study, _, _ in pairs])
        rows = np.array([both for _, *both in pairs])
        variance = np.diag((self.errors[rows] ** 2).sum(axis=1)) + tau_m2**2 * (riders[:, None] == riders)
        columns = np.column_stack([np.ones(len(pairs)), [study.numbers[number] for study, _, _ in pairs]])
        solved = np.linalg.solve(variance, columns)
        weights = np.linalg.solve(columns.T @ solved, solved.T)[1]
        line = np.zeros(len(self.arms))
        line[rows[:, 0]], line[rows[:, 1]] = weights, -weights
        return line

    def _weights(self, behind: Iterable[Study], answer: Answer) -> dict[int, np.ndarray]:
        """What each arm weighs in each product's effect: one dense generalised least squares."""
        behind = [study for study in behind if len(study.products) > 1]
        rows = [(study, arm, self.first[study.number] + arm) for study in behind for arm in range(len(study.products))]
        names = sorted({study.products[arm] for study, arm, _ in rows})
        riders = np.array([study.rider for study, _, _ in rows])
        tested = np.array([study.products[arm] for study, arm, _ in rows])
        same = (riders[:, None] == riders) & (tested[:, None] == tested)
        variance = np.diag([study.errors[arm] ** 2 for study, arm, _ in rows]) + answer.tau_m2**2 / 2.0 * same
        levels = np.array([[study is other for other in behind] for study, _, _ in rows], float)
        columns = np.column_stack([levels, *(tested == name for name in names if name != answer.reference)])
        solved = np.linalg.solve(variance, columns)
        hat = np.linalg.pinv(columns.T @ solved, rcond=1e-12, hermitian=True) @ solved.T
        out = {}
        for at, name in enumerate(name for name in names if name != answer.reference):
            line = np.zeros(len(self.arms))
            line[[row for _, _, row in rows]] = hat[len(behind) + at]
            out[name] = line
        return out

    def hidden(self) -> dict[int, float]:
        """Least share of the prior standard deviation that is left of any contrast of each rider, whoever attacks."""
        if not self.lines:
            return {}
        lines = np.array(self.lines)
        prior, (_, left) = self.prior, self.posterior()
        behind = {self.arms[at][0].rider for at in np.flatnonzero(np.abs(lines).max(axis=0) > 1e-9)}
        owner, wanted = self.contrasts
        after, before = wanted @ left @ wanted.T, np.einsum("ij,jk,ik->i", wanted, prior, wanted)
        out = dict.fromkeys(behind, 1.0)
        for knower in set(owner):
            known = owner == knower
            taken = np.linalg.pinv(after[np.ix_(known, known)], rcond=1e-9, hermitian=True)
            rest = np.diag(after) - np.einsum("ij,jk,ik->i", after[:, known], taken, after[:, known])
            share = np.sqrt(np.maximum(rest, 0.0) / before)
            for rider in behind - {knower}:
                out[rider] = min(out[rider], float(share[owner == rider].min()))
        return out

    def posterior(self) -> tuple[np.ndarray, np.ndarray]:
        """Mean and covariance of the values after all that was read; true effects of products are granted."""
        expected = np.array([study.means[arm] for study, arm in self.arms])
        if not self.lines:
            return expected, self.prior
        lines, spread = np.array(self.lines), self.prior @ np.array(self.lines).T
        noise = ROUNDING_M2**2 / 12.0 * np.eye(len(lines))
        gain = np.linalg.solve(lines @ spread + noise, spread.T).T
        return expected + gain @ (np.array(self.read) - lines @ expected), self.prior - gain @ spread.T

    @cached_property
    def prior(self) -> np.ndarray:
        """Departures that a rider's studies share, and the median error; a contrast's variance is tau2 + that."""
        riders = np.array([study.rider for study, _ in self.arms])
        tested = np.array([study.products[arm] for study, arm in self.arms])
        same = (riders[:, None] == riders) & (tested[:, None] == tested)
        median = float(np.median([study.errors[arm] ** 2 for study, arm in self.arms]))
        return self.tau_m2**2 / 2.0 * same + median * np.eye(len(self.arms))

    @cached_property
    def contrasts(self) -> tuple[np.ndarray, np.ndarray]:
        """Every rider's contrasts: of every study, and the mean of those that hold the same two products."""
        single: dict[tuple[int, int, int], list[np.ndarray]] = {}
        for study in self.studies:
            for one, other in combinations(np.argsort(study.products), 2):
                line = np.zeros(len(self.arms))
                line[self.first[study.number] + one], line[self.first[study.number] + other] = 1.0, -1.0
                single.setdefault((study.rider, study.products[one], study.products[other]), []).append(line)
        lines = [(rider, line) for (rider, _, _), same in single.items() for line in same]
        lines += [(rider, np.mean(same, axis=0)) for (rider, _, _), same in single.items() if len(same) > 1]
        return np.array([rider for rider, _ in lines]), np.array([line for _, line in lines])


@dataclass(frozen=True, slots=True)
class Outcome:
    """What all attackers together found: the least that is hidden of anybody, and how well they read the figures."""

    least: float
    figures: int
    misread_m2: float


def attack(
    studies: Sequence[Study], ask_at: Callable[[int], Ask], editions: int, *, tau_m2: float, enough: float = 0.0
) -> Outcome:
    """Question every edition; stops at the end, or every fifth edition once less than `enough` is hidden."""
    attackers = [Attacker(studies, category, tau_m2) for category in range(CATEGORIES)]
    outcome = Outcome(1.0, 0, 0.0)
    for edition in range(editions):
        ask = ask_at(edition)
        for attacker in attackers:
            attacker.question(ask)
        if edition == editions - 1 or (enough and edition % 5 == 4):
            least = min((share for attacker in attackers for share in attacker.hidden().values()), default=1.0)
            figures = sum(len(attacker.lines) for attacker in attackers)
            outcome = Outcome(least, figures, max(attacker.misread for attacker in attackers))
            if least < enough:
                break
    return outcome

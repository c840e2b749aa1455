"""The attacker with counts too: what is left of a rider's contrast after every figure, slope and count was read.

A count cuts the attacker's normal belief along the planes where a rider's own difference changes sign; what is left has
no closed form. So it is drawn from, by Markov chains that keep to what was told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from unittest.mock import patch

import numpy as np

from analysis.core.pool import extras
from tests.analysis.core.pool.hiding.attacker import Attacker, Counted
from tests.analysis.core.pool.hiding.studios import Studio
from tests.analysis.core.pool.hiding.world import CATEGORIES, TAU_M2

CHAINS = 32
GENEROUS = 0.20
FEWEST = 1e-9  # of the largest variance: directions that the figures have told already


@dataclass(frozen=True, slots=True, eq=False)
class Belief:
    """Normal beliefs of some rows: the differences that were counted, then the contrast attacked."""

    mean: np.ndarray
    root: np.ndarray
    start: np.ndarray
    events: Sequence[tuple[slice, int | None]]

    def amiss(self, drawn: np.ndarray) -> np.ndarray:
        """By how many riders in all each chain's values miss the counts that were told."""
        values = self.mean[:, None] + self.root @ drawn
        missed = np.zeros(values.shape[1], np.int64)
        for rows, told in self.events:
            faster, size = (values[rows] < 0.0).sum(axis=0), rows.stop - rows.start
            missed += (
                np.abs(faster - told) if told is not None else np.maximum(np.minimum(faster, size - faster) - 1, 0)
            )
        return missed

    def spread(self, rng: np.random.Generator, steps: int) -> float:
        """Standard deviation of the contrast by elliptical slice sampling (Murray, Adams & MacKay 2010).

        Half of the chains start at the truth, half anywhere, and these come nearer to what was told from step to step.
        """
        drawn = rng.normal(size=(self.start.size, CHAINS))
        drawn[:, : CHAINS // 2] = self.start[:, None]
        seen, missed = [], self.amiss(drawn)
        for step in range(steps):
            drawn, missed = self._moved(drawn, missed, rng)
            if step >= steps // 3:
                seen.append(np.where(missed == 0, self.root[-1] @ drawn, np.nan))
        return float(np.nanstd(seen))

    def _moved(self, drawn: np.ndarray, missed: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
        """Every chain along an ellipse of its own, to a random place that is no more amiss."""
        other, out, now = rng.normal(size=drawn.shape), drawn.copy(), missed.copy()
        angle = rng.uniform(0.0, 2.0 * np.pi, CHAINS)
        low, high, waits = angle - 2.0 * np.pi, angle.copy(), np.ones(CHAINS, bool)
        while waits.any():
            moved = np.cos(angle) * drawn + np.sin(angle) * other
            found = self.amiss(moved)
            good = waits & (found <= missed)
            out[:, good], now[good] = moved[:, good], found[good]
            waits &= ~good
            low, high = np.where(angle < 0.0, angle, low), np.where(angle >= 0.0, angle, high)
            angle = rng.uniform(low, high)
        return out, now


def differences(attacker: Attacker, event: Counted) -> np.ndarray:
    """A line for each rider counted: the mean of their studies' differences, by the studies' errors."""
    behind = [study for study in attacker.studies if study.stands(event.edition) and study.rider in event.riders]
    own: dict[int, list[tuple[float, int, int]]] = {}
    for study, one, other in attacker.pairs(behind, (event.product, event.reference)):
        weight = 1.0 / (attacker.errors[one] ** 2 + attacker.errors[other] ** 2)
        own.setdefault(study.rider, []).append((weight, one, other))
    lines = np.zeros((len(event.riders), len(attacker.arms)))
    for line, rider in zip(lines, sorted(event.riders), strict=True):
        for weight, one, other in own[rider]:
            share = weight / sum(w for w, _, _ in own[rider])
            line[one], line[other] = share, -share
    return lines


def worst(attacker: Attacker, events: Sequence[Counted], attacks: int) -> list[tuple[int, int]]:
    """Knowers and contrasts of which least is left by the figures alone, each knower and rider once."""
    owner, wanted = attacker.contrasts
    _, left = attacker.posterior()
    counted = frozenset().union(*(event.riders for event in events))
    before = np.einsum("ij,jk,ik->i", wanted, attacker.prior, wanted)
    after = wanted @ left @ wanted.T
    found: dict[tuple[int, int], tuple[float, int]] = {}
    for knower in counted:
        known = owner == knower
        taken = np.linalg.pinv(after[np.ix_(known, known)], rcond=1e-9, hermitian=True)
        rest = np.diag(after) - np.einsum("ij,jk,ik->i", after[:, known], taken, after[:, known])
        for at in np.flatnonzero((owner != knower) & np.isin(owner, list(counted))):
            share = float(rest[at] / before[at])
            found[knower, owner[at]] = min((share, int(at)), found.get((knower, owner[at]), (2.0, 0)))
    ranked = sorted((share, knower, at) for (knower, _), (share, at) in found.items())
    return [(knower, at) for _, knower, at in ranked[:attacks]]


def least_after_counts(
    attacker: Attacker, counted: Sequence[Counted], rng: np.random.Generator, *, attacks: int, steps: int
) -> float:
    """Least share of a contrast's prior standard deviation, over the attacks that figures have prepared best."""
    events = [event for event in counted if event.category == attacker.category]
    if not events or not attacker.lines:
        return 1.0
    owner, wanted = attacker.contrasts
    lines = [differences(attacker, event) for event in events]
    ends = np.cumsum([0, *(len(line) for line in lines)])
    told = [(slice(int(a), int(b)), e.faster) for a, b, e in zip(ends, ends[1:], events, strict=False)]
    shares = []
    for knower, at in worst(attacker, events, attacks):
        belief = _belief(attacker, wanted[owner == knower], np.vstack([*lines, wanted[[at]]]), told)
        prior = float(np.sqrt(wanted[at] @ attacker.prior @ wanted[at]))
        shares.append(belief.spread(rng, steps) / prior)
    return min(shares, default=1.0)


def _belief(
    attacker: Attacker, known: np.ndarray, rows: np.ndarray, told: Sequence[tuple[slice, int | None]]
) -> Belief:
    """Of these rows, once the knower's own values are put in too."""
    mean, left = attacker.posterior()
    gain = left @ known.T @ np.linalg.pinv(known @ left @ known.T, rcond=1e-9, hermitian=True)
    mean, left = mean + gain @ known @ (attacker.values - mean), left - gain @ known @ left
    value, vector = np.linalg.eigh(rows @ left @ rows.T)
    kept = value > FEWEST * value.max()
    root = vector[:, kept] * np.sqrt(value[kept])
    start = (vector[:, kept] / np.sqrt(value[kept])).T @ (rows @ (attacker.values - mean))
    # what has no spread left is known: the truth, within the rounding of figures
    settled = rows @ attacker.values - root @ start
    belief = Belief(settled, root, start, told)
    assert not belief.amiss(start[:, None]).any(), "the attacker holds the truth for impossible"
    return belief


@dataclass(frozen=True, slots=True)
class Found:
    """The least that is left by figures and slopes, and by counts too; and how much there was to read."""

    least: float
    after_counts: float
    misread_m2: float
    counts: int
    slopes: int


def attack_with_counts(
    studio: Studio, editions: Sequence[int], rng: np.random.Generator, *, attacks: int, steps: int
) -> Found:
    """Question these editions of the project's studio, and attack with everything at the last.

    The studio may spend nearly four times as much on a count or slope as it does: there is far more to read then.
    """
    with patch.object(extras, "SPEND", GENEROUS):
        return _attacked(studio, editions, rng, attacks, steps)


def _attacked(studio: Studio, editions: Sequence[int], rng: np.random.Generator, attacks: int, steps: int) -> Found:
    attackers = [Attacker(studio.studies, category, TAU_M2) for category in range(CATEGORIES)]
    for edition in editions:
        studio.make(edition)
        for attacker in attackers:
            attacker.question(studio.ask)
    least = min((share for attacker in attackers for share in attacker.hidden().values()), default=1.0)
    after = [least_after_counts(one, studio.counted, rng, attacks=attacks, steps=steps) for one in attackers]
    told = sum(event.faster is not None for event in studio.counted)
    misread = max(attacker.misread for attacker in attackers)
    return Found(least, min(after), misread, told, sum(attacker.slopes for attacker in attackers))

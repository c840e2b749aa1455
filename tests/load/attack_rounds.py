"""The attacker at full length, by command: `python -m tests.load.attack_rounds [NETWORKS] [--only rule|ours|counts]`.

20 simulated networks (40 products in 5 categories, 4 sessions a rider, about 100 riders) over 50 editions with riders
joining and leaving. Prints the least that stays hidden of anybody under the project's rule (at least 0.50 in each), the
same under the plain rule of three (below 0.50 in each), and how much is shown: to 100 riders at once, and on the way.
Counts and slopes need more riders of a pair: there, studios of 150 riders where every session holds one house reference
make three editions, and what is left once counts are read too is drawn by Markov chains (at least 0.50 in each).
"""

from __future__ import annotations

import argparse
import sys

import numpy as np

from tests.analysis.core.pool.hiding.attacker import attack
from tests.analysis.core.pool.hiding.counting_attacker import attack_with_counts
from tests.analysis.core.pool.hiding.studios import RuleOfThree, Studio
from tests.analysis.core.pool.hiding.world import TAU_M2, world

EDITIONS = 50


def ours(seed: int) -> bool:
    """One network under the project's rule."""
    studies = world(seed)
    studio, shown = Studio(studies), []

    def ask_at(edition: int):  # noqa: ANN202 - the attacker's type
        studio.make(edition)
        shown.append(studio.shown())
        return studio.ask

    outcome = attack(studies, ask_at, EDITIONS, tau_m2=TAU_M2)
    fresh = Studio(world(seed, leavers=0.0))
    fresh.make(EDITIONS - 1)
    products, strata, narrow = fresh.shown()
    along = "; ".join(f"{x:.2f} {y:.2f}" for x, y, _ in shown[9::10])
    print(
        f"network {seed}: least hidden {outcome.least:.3f} behind {outcome.figures} figures, misread by "
        f"{outcome.misread_m2:.1e} m2; 100 riders at once show {products:.2f} of products, {strata:.2f} of one-way "
        f"strata ({narrow:.2f} of products in them); every tenth edition products and strata: {along}",
        flush=True,
    )
    return outcome.least >= 0.50 and products >= 0.90 and strata >= 0.50


def rule(seed: int) -> bool:
    """One network under the plain rule of three."""
    studies = world(seed)
    studio = RuleOfThree(studies)

    def ask_at(edition: int):  # noqa: ANN202 - the attacker's type
        studio.make(edition)
        return studio.ask

    least = attack(studies, ask_at, EDITIONS, tau_m2=TAU_M2, enough=0.50).least
    print(f"network {seed}: plain rule of three, least hidden {least:.3f}", flush=True)
    return least < 0.50


def counts(seed: int) -> bool:
    """One network with a house reference under the project's rule, attacked with counts and slopes too."""
    studio = Studio(world(seed, riders=150, anchored=True))
    found = attack_with_counts(studio, (30, 40, 49), np.random.default_rng(seed), attacks=3, steps=600)
    print(
        f"network {seed}: {found.counts} counts and {found.slopes} slopes, least hidden {found.least:.3f} by figures "
        f"and slopes, {found.after_counts:.3f} after counts, misread by {found.misread_m2:.1e} m2",
        flush=True,
    )
    return min(found.least, found.after_counts) >= 0.50


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("networks", nargs="?", type=int, default=20)
    parser.add_argument("--from", dest="first", type=int, default=0)
    parser.add_argument("--only", choices=("rule", "ours", "counts"))
    asked = parser.parse_args()
    rounds = [run for run in (ours, rule, counts) if asked.only in (None, run.__name__)]
    held = [run(seed) for run in rounds for seed in range(asked.first, asked.first + asked.networks)]
    print(f"held in {sum(held)} of {len(held)}")
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main())

"""How often pooled intervals hold the truth: python tests/load/pool_coverage.py

500 simulated networks of known effects by each shape; the truth must be held by 0.93 to 0.97 of the intervals and a new
rider by as many prediction intervals, up to 0.99 under 30 riders. Exits 1 where one is missed.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.core.pool.standings import pool
from tests.analysis.core.pool.networks import simulated

SHAPES = (
    {"riders": 12, "sessions": 1},
    {"riders": 20, "sessions": 1},
    {"riders": 60, "sessions": 1},
    {"riders": 12, "sessions": 5, "own": 4},
    {"riders": 40, "sessions": 5, "own": 4},
    {"riders": 40, "sessions": 5},
)


def coverage(networks: int, seed: int, **shape: int) -> tuple[float, float]:
    """Shares of intervals that hold the true effect, and of predictions that hold a new rider's."""
    rng = np.random.default_rng(seed)
    effects, riders = [], []
    for _ in range(networks):
        for row in pool(simulated(int(rng.integers(2**32)), **shape), reference="product 0").products:
            if row.product != "product 0" and row.ci95_m2 and row.prediction95_m2:
                truth = int(row.product.split()[1]) / 2
                effects.append(row.ci95_m2[0] <= truth <= row.ci95_m2[1])
                riders.append(row.prediction95_m2[0] <= truth + rng.normal(0, 1.0) <= row.prediction95_m2[1])
    return float(np.mean(effects)), float(np.mean(riders))


def main() -> int:
    kept = True
    for shape in SHAPES:
        found = coverage(500, 1, **shape)
        most = 0.99 if shape["riders"] < 30 else 0.97
        kept &= all(0.93 <= share <= most for share in found)
        print(f"{shape}: effects {found[0]:.3f}, new riders {found[1]:.3f} (0.93 to {most})")
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main())

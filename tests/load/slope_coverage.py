"""How often a slope's interval holds the truth: python tests/load/slope_coverage.py

2000 simulated sets of differences by each shape, with a moderator that belongs to the rider (height) or changes from
study to study (yaw); the true slope must be held by 0.93 to 0.97 of the intervals. Where a moderator changes within
riders, and they are few, Student's t of riders less coefficients is wider than it need be: up to 0.99 there, as pooled
effects have it under 30 riders. Exits 1 where one is missed.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.core.pool.transfer import Contrasts, Regression, regress

SHAPES = (
    {"riders": 10},
    {"riders": 12},
    {"riders": 20},
    {"riders": 60},
    {"riders": 12, "sessions": 4},
    {"riders": 40, "sessions": 4},
    {"riders": 12, "sessions": 4, "within": True},
    {"riders": 40, "sessions": 4, "within": True},
    {"riders": 20, "tau": 0.3},
)
SLOPE = 0.7


def differences(
    rng: np.random.Generator, *, riders: int, sessions: int = 1, within: bool = False, tau: float = 1.0
) -> tuple[Contrasts, np.ndarray]:
    """Riders of one to `sessions` studies, errors of 0.4 to 1.5."""
    rider = np.repeat(np.arange(riders), rng.integers(1, sessions + 1, riders))
    x = rng.normal(size=rider.size) if within else rng.normal(size=riders)[rider]
    error = rng.uniform(0.4, 1.5, rider.size)
    value = 2.0 + SLOPE * x + rng.normal(0.0, tau, riders)[rider] + rng.normal(0.0, error)
    every = np.arange(rider.size)
    return Contrasts(rider, every, value, error**2, (every, every)), x[:, None]


def coverage(sets: int, seed: int, **shape: int | float | bool) -> float:
    """Share of intervals that hold the true slope."""
    rng = np.random.default_rng(seed)
    held = []
    for _ in range(sets):
        found = regress(*differences(rng, **shape))  # type: ignore[arg-type]
        assert isinstance(found, Regression)
        held.append(found.ci95[1, 0] <= SLOPE <= found.ci95[1, 1])
    return float(np.mean(held))


def main() -> int:
    kept = True
    for shape in SHAPES:
        found = coverage(2000, 1, **shape)
        most = 0.99 if shape.get("within") and shape["riders"] < 30 else 0.97
        kept &= 0.93 <= found <= most
        print(f"{shape}: slopes {found:.3f} (0.93 to {most})", flush=True)
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main())

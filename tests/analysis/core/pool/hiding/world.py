"""A simulated studio that grows: riders join with their sessions, some withdraw; its truth is known.

40 products in 5 categories and 4 sessions a rider, as the contract's measure asks; the rest is invented: sessions of
two to four products, entered within some editions of the rider's joining, and one leaver in about four editions. Where
a world is `anchored`, every session holds the first product, as in a studio with one house reference: pairs of products
have riders enough then for counts and slopes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

CATEGORIES, PRODUCTS_IN_ONE, SESSIONS = 5, 8, 4
BIKE_KINDS, HEIGHTS, YAWS = (
    ("road", "time trial", "track", "other"),
    ("under-170", "170-185", "over-185"),
    ("0-5", "5-10", "over-10"),
)
TAU_M2 = 0.0015


@dataclass(frozen=True, slots=True, eq=False)
class Study:
    """One session of one category: what was ridden, and when its figures stood in the evidence."""

    number: int
    rider: int
    category: int
    products: tuple[int, ...]
    values: np.ndarray
    errors: np.ndarray
    means: np.ndarray  # true effects of its products, without the rider's departures
    bands: tuple[str, str, str]
    entered: int
    left: int  # the first edition without it
    numbers: tuple[float, float]  # rider's height and yaw, in steps

    def stands(self, edition: int) -> bool:
        return self.entered <= edition < self.left

    def within(self, stratum: tuple[str, str, str]) -> bool:
        return all(asked in ("", own) for asked, own in zip(stratum, self.bands, strict=True))


def world(
    seed: int, *, riders: int = 100, editions: int = 50, leavers: float = 0.25, anchored: bool = False
) -> list[Study]:
    """Studies of a studio that has about `riders` riders at its last edition."""
    rng, more = np.random.default_rng(seed), np.random.default_rng([seed, 1])
    gone = round(leavers * editions)
    total = riders + gone
    joined = np.sort(rng.integers(0, editions - 4, total))
    left = np.full(total, editions + 1)
    for rider in rng.choice(np.flatnonzero(joined < editions - 8), gone, replace=False):
        left[rider] = rng.integers(joined[rider] + 4, editions)
    effects = rng.normal(0.0, 0.002, (CATEGORIES, PRODUCTS_IN_ONE))
    studies: list[Study] = []
    for rider in range(total):
        height = rng.choice(HEIGHTS, p=(0.25, 0.5, 0.25))
        bikes = rng.choice(BIKE_KINDS, 2, p=(0.45, 0.4, 0.1, 0.05))
        height_steps = more.normal(17.6, 0.9)
        departures = rng.normal(0.0, TAU_M2 / 2**0.5, effects.shape)
        for _ in range(SESSIONS):
            category = int(rng.integers(CATEGORIES))
            products = rng.choice(PRODUCTS_IN_ONE, rng.choice((2, 3, 4), p=(0.6, 0.3, 0.1)), replace=False)
            if anchored and 0 not in products:
                products[0] = 0
            errors = rng.uniform(0.0006, 0.0014, products.size)
            level = rng.normal(0.25, 0.03)
            truth = level + (effects + departures)[category, products]
            studies.append(
                Study(
                    number=len(studies),
                    rider=rider,
                    category=category,
                    products=tuple(int(x) for x in products),
                    values=truth + rng.normal(0.0, errors),
                    errors=errors,
                    means=effects[category, products],
                    bands=(str(rng.choice(bikes)), str(height), str(rng.choice(YAWS, p=(0.4, 0.4, 0.2)))),
                    entered=int(joined[rider] + rng.integers(0, 4)),
                    left=int(left[rider]),
                    numbers=(height_steps, more.uniform(0.4, 2.4)),
                )
            )
    return studies

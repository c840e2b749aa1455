"""The fixed strata of standings. A question that names another range is refused: pooling never runs on a set that a
question chose."""

from __future__ import annotations

from dataclasses import astuple, dataclass
from itertools import combinations, product

BIKE_KINDS = ("road", "time trial", "track", "other")
HEIGHT_BANDS = ("under-170", "170-185", "over-185")
YAW_BANDS = ("0-5", "5-10", "over-10")
ALL = ""
"""The band that leaves its dimension open; also of an arm whose height or yaw nobody knows."""


@dataclass(frozen=True, slots=True)
class Stratum:
    """One band of each dimension, or all of it."""

    bike_kind: str = ALL
    height: str = ALL
    yaw: str = ALL

    @property
    def ways(self) -> int:
        """How many dimensions it narrows."""
        return sum(band != ALL for band in astuple(self))

    def __str__(self) -> str:
        return ", ".join(band for band in astuple(self) if band) or "all"


def _fixed() -> tuple[Stratum, ...]:
    dimensions = {"bike_kind": BIKE_KINDS, "height": HEIGHT_BANDS, "yaw": YAW_BANDS}
    return tuple(
        Stratum(**dict(zip(names, bands, strict=True)))
        for ways in range(len(dimensions) + 1)
        for names in combinations(dimensions, ways)
        for bands in product(*(dimensions[name] for name in names))
    )


STRATA = _fixed()
"""Every stratum, in the order in which their figures are audited: all, one way, then the crossings."""


def bike_band(kind: str) -> str:
    """The band of a bike's kind; kinds that nobody fixed are `other`."""
    plain = kind.strip().lower()
    return plain if plain in BIKE_KINDS else "other"


def height_band(height_cm: float | None) -> str:
    """Half open: 170 is in the middle, 185 in the last."""
    if height_cm is None:
        return ALL
    return HEIGHT_BANDS[(height_cm >= 170.0) + (height_cm >= 185.0)]


def yaw_band(mean_abs_yaw_deg: float | None) -> str:
    """Half open, as heights are."""
    if mean_abs_yaw_deg is None:
        return ALL
    return YAW_BANDS[(mean_abs_yaw_deg >= 5.0) + (mean_abs_yaw_deg >= 10.0)]

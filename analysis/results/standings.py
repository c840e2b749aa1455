"""What an edition shows: its rows told against any reference that is shown itself, as long as all behind them agree."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any
from uuid import UUID

import numpy as np
from scipy.special import stdtrit

from analysis.core.types import Array
from analysis.results.models import ContributorKey, Edition, Standings
from analysis.results.strata import ALL
from studio.records.models import Consent, ConsentPurpose, Studio

Interval = tuple[float, float]

WITHDRAWN = "somebody behind these figures has withdrawn their consent; they return with a later edition"
REFERENCE_WITHHELD = "the reference is withheld itself"
NOT_TESTED = "nobody has tested it in this stratum"


@dataclass(frozen=True, slots=True)
class ShownProduct:
    """One product against the reference: figures, or why there are none."""

    product: UUID
    effect_m2: float | None = None
    se_m2: float | None = None
    ci95_m2: Interval | None = None
    prediction95_m2: Interval | None = None
    p_best: float | None = None
    score: float | None = None
    riders: int | None = None
    studies: int | None = None
    component: int | None = None
    faster_riders: int | None = None
    counted_riders: int | None = None
    slopes: tuple[dict[str, Any], ...] | None = None
    withheld: str | None = None


@dataclass(frozen=True, slots=True)
class ShownStandings:
    """A category in a stratum; shown products first, by effect. Without a reference nothing is shown."""

    reference: UUID | None
    reference_cda_m2: float | None
    products: tuple[ShownProduct, ...]
    tau_m2: float | None = None
    tau_dl_m2: float | None = None
    q: float | None = None
    df: int | None = None
    i2: float | None = None
    inconsistency_p: float | None = None
    interval_method: str | None = None


def current_edition(studio: Studio) -> Edition | None:
    """The studio's newest edition."""
    return Edition.objects.filter(studio=studio).order_by("-number").first()


def standings_of(
    edition: Edition,
    *,
    category: str,
    bike_kind: str = ALL,
    height: str = ALL,
    yaw: str = ALL,
    reference: UUID | None = None,
) -> ShownStandings:
    """What the edition says of a category in a stratum; without a reference, against the first product shown."""
    row = _row(edition.pk, category, bike_kind, height, yaw)
    if row is None:
        return ShownStandings(reference, None, ())
    if _somebody_left(row):
        gone = tuple(ShownProduct(UUID(each["product"]), withheld=WITHDRAWN) for each in row.products)
        return ShownStandings(reference, None, gone)
    return _against(row, reference)


@lru_cache(maxsize=64)
def _row(edition: UUID, category: str, bike_kind: str, height: str, yaw: str) -> Standings | None:
    """An edition's rows never change: a shop that asks again need not have them read again."""
    return Standings.objects.filter(
        edition=edition, category=category, bike_kind=bike_kind, height_band=height, yaw_band=yaw
    ).first()


def categories_of(edition: Edition) -> tuple[str, ...]:
    """Categories that the edition knows anything of, by name."""
    return tuple(
        Standings.objects.filter(edition=edition).order_by("category").values_list("category", flat=True).distinct()
    )


def without_consent(studio_id: UUID) -> set[int]:
    """Keys of contributors who do not agree to pooled results now, erased ones too.

    Nobody has a key who never agreed: asked are those who withdrew, few of many, and those whose rider is gone.
    """
    given = Consent.objects.filter(studio_id=studio_id, purpose=ConsentPurpose.POOLED_RESULTS)
    withdrew = set(given.filter(withdrawn_at__isnull=False).values_list("rider_id", flat=True))
    keys = ContributorKey.objects.filter(studio_id=studio_id)
    gone = set(keys.filter(rider__isnull=True).values_list("key", flat=True))
    if withdrew:
        agreed = given.filter(rider__in=withdrew, withdrawn_at__isnull=True).values_list("rider_id", flat=True)
        gone |= set(keys.filter(rider__in=withdrew.difference(agreed)).values_list("key", flat=True))
    return gone


def _somebody_left(row: Standings) -> bool:
    gone = without_consent(row.studio_id)
    return bool(gone) and bool(np.isin(list(gone), np.frombuffer(row.contributors, np.int64)).any())


def _against(row: Standings, reference: UUID | None) -> ShownStandings:
    shown = [each for each in row.products if not each["withheld"]]
    withheld = tuple(
        ShownProduct(UUID(each["product"]), withheld=each["withheld"]) for each in row.products if each["withheld"]
    )
    places = [UUID(each["product"]) for each in shown]
    if reference is None and places:
        reference = places[0]
    if reference not in places:
        out = tuple(ShownProduct(product, withheld=REFERENCE_WITHHELD) for product in places)
        return ShownStandings(reference, None, out + withheld)
    base = places.index(reference)
    covariance = _square(row.covariance, len(shown))
    variance = np.diag(covariance) - 2.0 * covariance[base] + covariance[base, base]
    rows = [
        _told(each, place, shown[base], float(np.sqrt(max(variance[at], 0.0))), row.figures)
        for at, (each, place) in enumerate(zip(shown, places, strict=True))
    ]
    if base == 0:  # counts and slopes are told against the product that they were made for
        rows = [replace(told, **_beside(each)) for told, each in zip(rows, shown, strict=True)]
    known = {
        key: row.figures[key] for key in ("tau_m2", "tau_dl_m2", "q", "df", "i2", "inconsistency_p", "interval_method")
    }
    rows.sort(key=lambda told: (told.effect_m2, str(told.product)))
    return ShownStandings(reference, shown[base]["median_cda_m2"], (*rows, *withheld), **known)


def _told(
    each: dict[str, Any], product: UUID, base: dict[str, Any], se_m2: float, figures: dict[str, Any]
) -> ShownProduct:
    effect = round(each["effect_m2"] - base["effect_m2"], 4)
    own = each is base
    tau2 = (figures["tau_m2"] or 0.0) ** 2
    return ShownProduct(
        product=product,
        effect_m2=effect,
        se_m2=se_m2,
        ci95_m2=_about(effect, 0.0 if own else figures["quantile"], se_m2),
        prediction95_m2=_about(effect, 0.0 if own else _t(figures["prediction_df"]), float(np.hypot(se_m2, tau2**0.5))),
        p_best=each["p_best"],
        score=each["score"],
        riders=each["riders"],
        studies=each["studies"],
        component=each["component"],
    )


def _beside(each: Mapping[str, Any]) -> dict[str, Any]:
    """Counts and slopes; none in tables of before they were made."""
    counts = {name: each.get(name) for name in ("faster_riders", "counted_riders")}
    return counts | {"slopes": tuple(each.get("slopes", ()))}


def _t(df: int | None) -> float | None:
    return float(stdtrit(df, 0.975)) if df and df > 0 else None


def _about(effect: float, quantile: float | None, error: float) -> Interval | None:
    return None if quantile is None else (effect - quantile * error, effect + quantile * error)


def _square(lower: bytes | memoryview, size: int) -> Array:
    out = np.zeros((size, size))
    out[np.tril_indices(size)] = np.frombuffer(lower, np.float64)
    return out + np.tril(out, -1).T

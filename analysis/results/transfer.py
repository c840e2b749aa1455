"""Does a difference transfer: each rider left out, and slopes over height, speed, yaw and kind of bike.

For owners and fitters of the riders' studio alone: what a rider's leaving changes is what they measured. What a shop
may be told of it was decided when an edition was made (`standings.py`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import numpy as np

from analysis.core.pool.arms import Arms, arms_of
from analysis.core.pool.influence import Effect, LeftOut, influence
from analysis.core.pool.transfer import Contrasts, Untold, contrasts_of, kinds_as_columns, regress
from analysis.core.types import Array
from analysis.readers.faults import shown
from analysis.results.evidence import Evidence, evidence_of
from studio.records.errors import Unusable, fault, sentence
from studio.records.models import Product, Studio
from studio.records.selectors.stock import products_in

KEYS = ("category", "product", "reference")
NOT_COMPARED = "nothing connects the two products in the evidence"
ALONE = "without this rider nothing connects the two products"
KMH_PER_MPS = 3.6


@dataclass(frozen=True, slots=True)
class Moderator:
    """What a difference may change with, and the step that its slope is told for."""

    name: str
    unit: str
    step: float
    column: int
    per_unit: float = 1.0  # of what the evidence holds


MODERATORS = (
    Moderator("height", "cm", 10.0, 0),
    Moderator("speed", "km/h", 10.0, 1, KMH_PER_MPS),
    Moderator("yaw", "deg", 5.0, 2),
)
BIKE_KIND = "bike_kind"


@dataclass(frozen=True, slots=True)
class Asked:
    """Two products of a category."""

    category: str
    product: Product
    reference: Product


def asked_of(studio: Studio, given: Mapping[str, str]) -> Asked:
    """Read a question. Raises `Unusable` with every fault."""
    asked = {key: given.get(key, "").strip() for key in KEYS}
    products = {str(row.pk): row for row in products_in(studio, asked["category"])}
    allowed = "the id of a product of the category"
    faults = [fault(key, shown(asked[key]), allowed) for key in KEYS[1:] if asked[key].lower() not in products]
    if not faults and asked["product"].lower() == asked["reference"].lower():
        faults = [fault("reference", shown(asked["reference"]), "another product than the one asked for")]
    if faults:
        raise Unusable(sentence("This cannot be asked", faults), faults=tuple(faults))
    return Asked(asked["category"], products[asked["product"].lower()], products[asked["reference"].lower()])


def transfer_of(studio: Studio, asked: Asked) -> dict[str, Any]:
    """The whole answer, from the evidence as it is now; ids of riders, no names."""
    evidence = evidence_of(studio).of(asked.category)
    names = [str(x) for x in evidence.session], [str(x) for x in evidence.rider], [str(x) for x in evidence.product]
    arms = arms_of(*names, evidence.cda_m2, evidence.se_m2)
    codes = [_code(arms, product.pk) for product in (asked.product, asked.reference)]
    told = {
        "category": asked.category,
        "product": asked.product.name,
        "product_id": str(asked.product.pk),
        "reference": asked.reference.name,
        "reference_id": str(asked.reference.pk),
    }
    if None in codes:
        return told | _nothing()
    product, reference = (int(code) for code in codes if code is not None)
    whole, left = influence(arms, product, reference)
    if whole is None:
        return told | _nothing()
    riders = sorted({str(one) for one in evidence.rider})
    return told | {
        **_effect(whole),
        "untold": None,
        "left_out": [_left_out(one, riders[one.rider], whole) for one in left],
        "moderators": moderators_of(evidence, contrasts_of(arms, product, reference)),
    }


def _code(arms: Arms, product: UUID) -> int | None:
    return arms.products.index(str(product)) if str(product) in arms.products else None


def _nothing() -> dict[str, Any]:
    empty = {"effect_m2": None, "se_m2": None, "tau_m2": None}
    return empty | {"untold": NOT_COMPARED, "left_out": [], "moderators": []}


def _effect(effect: Effect) -> dict[str, Any]:
    return {"effect_m2": effect.effect_m2, "se_m2": effect.se_m2, "tau_m2": effect.tau_m2}


def _left_out(one: LeftOut, rider: str, whole: Effect) -> dict[str, Any]:
    told = {"rider": rider, "share": one.share}
    if one.effect is None:
        return told | {"effect_m2": None, "se_m2": None, "tau_m2": None, "change_m2": None, "untold": ALONE}
    return told | _effect(one.effect) | {"change_m2": one.effect.effect_m2 - whole.effect_m2, "untold": None}


def numbers_by_step(evidence: Evidence, moderator: Moderator) -> Array:
    """A moderator of every arm, in steps; NaN where unknown."""
    return np.asarray(evidence.numbers[:, moderator.column] * moderator.per_unit / moderator.step)


def moderators_of(evidence: Evidence, contrasts: Contrasts) -> list[dict[str, Any]]:
    """A row for each moderator, and one for each kind of bike beside the commonest."""
    rows = [
        _row(
            contrasts, numbers_by_step(evidence, each)[contrasts.rows[0]][:, None], [(each.name, each.unit, each.step)]
        )
        for each in MODERATORS
    ]
    kinds, columns = kinds_as_columns([str(kind) for kind in evidence.bands[contrasts.rows[0], 0]], contrasts.rider)
    heads = [(BIKE_KIND, f"{kind} instead of {kinds[0]}", 1.0) for kind in kinds[1:]]
    rows.append(_row(contrasts, columns, heads or [(BIKE_KIND, "", 1.0)]))
    return [one for several in rows for one in several]


def _row(contrasts: Contrasts, x: Array, heads: Sequence[tuple[str, str, float]]) -> list[dict[str, Any]]:
    found = regress(contrasts, x)
    named = [{"moderator": name, "unit": unit, "step": step} for name, unit, step in heads]
    if isinstance(found, Untold):
        keys = ("slope_m2", "se_m2", "ci95_m2", "p_value", "tau_m2", "tau_dl_m2", "explained", "riders", "studies")
        return [each | dict.fromkeys(keys) | {"untold": found.reason} for each in named]
    common = {
        "tau_m2": float(np.sqrt(found.tau2)),
        "tau_dl_m2": float(np.sqrt(found.tau2_dl)),
        "explained": found.explained,
        "riders": found.riders,
        "studies": found.studies,
        "untold": None,
    }
    return [
        each
        | {
            "slope_m2": float(found.coefficients[at]),
            "se_m2": float(found.se[at]),
            "ci95_m2": found.ci95[at].tolist(),
            "p_value": float(found.p_value[at]),
        }
        | common
        for at, each in enumerate(named, 1)
    ]

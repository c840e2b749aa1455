"""The shop's question: what tested fastest of a category, in a fixed stratum, and what that is worth to a rider.

What may be shown was decided when the edition was made (`standings.py`); here finished rows are only converted to
watts and seconds, and selected by price. Values outside the fixed bands are refused, naming the bands.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any
from uuid import UUID

import numpy as np

from analysis.core.ridetime import seconds_for_drag_area, watts_at_speed
from analysis.core.road import Resistance
from analysis.readers.faults import Fault, shown
from analysis.readers.numbers import NUMBER
from analysis.results.standings import NOT_TESTED, ShownProduct, current_edition, standings_of
from analysis.results.strata import BIKE_KINDS, HEIGHT_BANDS, YAW_BANDS
from studio.records.errors import Unusable, fault, sentence
from studio.records.models import Product, Studio
from studio.records.selectors.stock import products_in

DENSITY_KG_M3, EFFICIENCY, CRR, MASS_KG = 1.2, 0.975, 0.004, 80.0
MPS_PER_KMH = 1 / 3.6
BANDS = {"bike_kind": BIKE_KINDS, "height": HEIGHT_BANDS, "yaw": YAW_BANDS}
NUMBERS = {
    "speed_kmh": (40.0, 5.0, 100.0),
    "distance_km": (40.0, 0.1, 1000.0),
    "power_w": (250.0, 20.0, 2000.0),
    "max_price": (None, 0.0, 1e9),
}
"""Each with what is taken where nothing is said, and the least and most that are answered."""
NUL = "\0"  # PostgreSQL takes it in no text
CURRENCY = re.compile("[A-Za-z]{3}")
SHOWN = tuple(each.name for each in fields(ShownProduct))
KEYS = ("category", "reference", *BANDS, *NUMBERS, "currency")


@dataclass(frozen=True, slots=True)
class Question:
    """A question whose every value is allowed."""

    category: str
    reference: UUID | None
    bike_kind: str
    height: str
    yaw: str
    speed_kmh: float
    distance_km: float
    power_w: float
    max_price: float | None
    currency: str


def question_of(given: Mapping[str, str]) -> Question:
    """Read a query; empty values count as not given. Raises `Unusable` with every fault."""
    asked = {key: given.get(key, "").strip() for key in KEYS}
    faults: list[Fault] = []
    if not asked["category"] or NUL in asked["category"]:
        given_as = shown(asked["category"]) if asked["category"] else "nothing"
        faults.append(fault("category", given_as, "a category of the catalogue, such as wheels"))
    for key, bands in BANDS.items():
        if asked[key] and asked[key] not in bands:
            faults.append(fault(key, shown(asked[key]), f"one of the fixed bands: {', '.join(bands)}; or not the key"))
    numbers = {key: _number(key, asked[key], faults) for key in NUMBERS}
    if asked["currency"] and not CURRENCY.fullmatch(asked["currency"]):
        faults.append(fault("currency", shown(asked["currency"]), "three letters, such as EUR"))
    if numbers["max_price"] is not None and not asked["currency"]:
        faults.append(fault("currency", "nothing", "the currency of max_price, such as EUR: nothing is exchanged"))
    reference = _id(asked["reference"], faults)
    if faults:
        raise Unusable(sentence("This cannot be asked", faults), faults=tuple(faults))
    bands_asked = {key: asked[key] for key in BANDS}
    return Question(asked["category"], reference, **bands_asked, **numbers, currency=asked["currency"].upper())  # type: ignore[arg-type]


def _number(key: str, text: str, faults: list[Fault]) -> float | None:
    usual, least, most = NUMBERS[key]
    if not text:
        return usual
    value = float(text) if NUMBER.fullmatch(text) and "," not in text else math.nan
    if not least <= value <= most:
        faults.append(fault(key, shown(text), f"a number from {least:g} to {most:g}"))
    return value


def _id(text: str, faults: list[Fault]) -> UUID | None:
    try:
        return UUID(text) if text else None
    except ValueError:
        faults.append(fault("reference", shown(text), "the id of a product"))
        return None


def answer_of(studio: Studio, question: Question) -> dict[str, Any]:
    """The published document `standings/1` with what the shop needs beside it. Raises `Unusable`."""
    edition = current_edition(studio)
    products = {row.pk: row for row in products_in(studio, question.category)}
    if question.reference is not None and question.reference not in products:
        found = fault("reference", shown(str(question.reference)), f"a product of the category {question.category}")
        raise Unusable("The reference is no product of this category.", faults=(found,))
    strata = {"bike_kind": question.bike_kind, "height": question.height, "yaw": question.yaw}
    asked = {"category": question.category, "reference": question.reference, **strata}
    told = standings_of(edition, **asked) if edition else None  # type: ignore[arg-type]
    cda_m2 = told.reference_cda_m2 if told else None
    named = {row.product for row in told.products} if told else set()
    seen = [each for each in (told.products if told else ()) if each.product in products]
    seen += [ShownProduct(key, withheld=NOT_TESTED) for key in products if key not in named]
    worth = _worth(seen, question, cda_m2)
    rows = [_row(each, products[each.product], *values) for each, values in zip(seen, worth, strict=True)]
    figures = ("tau_m2", "tau_dl_m2", "q", "df", "i2", "inconsistency_p", "interval_method")
    reference = products.get(told.reference) if told and told.reference else None
    return {
        "schema": "standings/1",
        "edition": edition and {"number": edition.number, "made_at": edition.made_at.isoformat()},
        "category": question.category,
        **{key: value or None for key, value in strata.items()},
        "reference": reference.name if reference else "",
        "reference_id": str(reference.pk) if reference else None,
        "assumed": {
            "density_kg_m3": DENSITY_KG_M3,
            "drivetrain_efficiency": EFFICIENCY,
            "crr": CRR,
            "system_mass_kg": MASS_KG,
            "reference_cda_m2": cda_m2,
            "speed_kmh": question.speed_kmh,
            "distance_km": question.distance_km,
            "power_w": question.power_w,
        },
        **{key: getattr(told, key, None) for key in figures},
        "products": [row for row in rows if _affordable(row, question)],
    }


def _affordable(row: Mapping[str, Any], question: Question) -> bool:
    """Price and currency select; a product without a price cannot be said to cost less than something."""
    if question.currency and row["price"] is not None and row["currency"] != question.currency:
        return False
    return question.max_price is None or (row["price"] is not None and row["price"] <= question.max_price)


def _row(each: ShownProduct, product: Product, watts: list[float], seconds: list[float]) -> dict[str, Any]:
    figures = {key: getattr(each, key) for key in SHOWN}  # not copied through and through: nothing here is changed
    plain = {key: list(value) if isinstance(value, tuple) else value for key, value in figures.items()}
    price = None if product.list_price is None else float(product.list_price)
    saved = -watts[0] / price * 100 if watts and price else None
    return plain | {
        "product": product.name,
        "id": str(product.pk),
        "delta_w": watts[0] if watts else None,
        "ci95_w": watts[1:] or None,
        "delta_s": seconds[0] if seconds else None,
        "ci95_s": seconds[1:] or None,
        "price": price,
        "currency": product.currency or None,
        "watts_per_100": saved,
    }


def _differences(each: ShownProduct) -> list[float]:
    return [] if each.effect_m2 is None else [each.effect_m2, *(each.ci95_m2 or ())]


def _worth(
    seen: Sequence[ShownProduct], question: Question, cda_m2: float | None
) -> list[tuple[list[float], list[float]]]:
    """Watts and seconds of every product's effect and interval, reckoned in one go: they are asked for at a counter."""
    differences = [_differences(each) for each in seen]
    every = np.array([one for own in differences for one in own])
    if not every.size:
        return [([], []) for _ in seen]
    watts = np.atleast_1d(watts_at_speed(every, question.speed_kmh * MPS_PER_KMH, DENSITY_KG_M3, EFFICIENCY))
    seconds = np.zeros(0)
    if cda_m2 is not None:
        road = Resistance(cda_m2=cda_m2, crr=CRR, mass_kg=MASS_KG, density_kg_m3=DENSITY_KG_M3, efficiency=EFFICIENCY)
        seconds = np.atleast_1d(seconds_for_drag_area(every, question.distance_km * 1000, question.power_w, road))
    ends = np.cumsum([len(own) for own in differences])
    return [
        (watts[end - len(own) : end].tolist(), seconds[end - len(own) : end].tolist())
        for own, end in zip(differences, ends, strict=True)
    ]

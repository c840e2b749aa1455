"""What an analysis can say of products: which comparisons enter the evidence, and why the others do not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

import numpy as np

from analysis.core.pool.arm_errors import arm_errors
from analysis.results.models import Analysis, Arm
from analysis.results.strata import bike_band, height_band, yaw_band
from studio.records.models import Consent, ConsentPurpose, FieldSession, Product, Rider

ITEM = "items."
NO_CONSENT = "The rider has not agreed to pooled results, or has withdrawn it: enter the consent, then accept again."
INVALID = "The comparison is invalid: its warnings say what to do."
NO_ERROR = "The comparison has no interval: ride more runs of each setup, then analyse again."
NOTHING = "Nothing recorded differs between the two setups."
TWICE = "Another setup of this session has the same product: it counts once."
ANOTHER_SLOT = "Another comparison of this category starts from another product: a session tells one reference of each."
GONE = "The setups no longer name both products in that slot: analyse the session again."

Slots = Mapping[str, Mapping[str, Product]]


@dataclass(frozen=True, slots=True)
class Offer:
    """One comparison of an analysis: the products that enter, or the reason why nothing does."""

    reference: str
    changed: str
    category: str | None
    before: Product | None
    after: Product | None
    excluded: str | None

    @property
    def before_id(self) -> UUID | None:
        return None if self.before is None else self.before.pk

    @property
    def after_id(self) -> UUID | None:
        return None if self.after is None else self.after.pk


def offers_of(analysis: Analysis) -> list[Offer]:
    """Every comparison of an analysis, in its order, as things stand now."""
    slots = _slots(analysis.session)
    agreed = has_agreed(analysis.session.rider)
    seen: dict[str, list[UUID]] = {}  # products of each category's study, its reference first
    offers = []
    for comparison in analysis.result["comparisons"]:
        offer = _offer(comparison, slots)
        if offer.before is not None and offer.after is not None and offer.category is not None:
            study = seen.setdefault(offer.category, [offer.before.pk])
            why = _beside(offer.before, offer.after, study) or (None if agreed else NO_CONSENT)
            study.append(offer.after.pk)
            offer = replace(offer, excluded=why)
        offers.append(offer)
    return offers


def _beside(before: Product, after: Product, study: Sequence[UUID]) -> str | None:
    """Why a comparison cannot stand beside those that are in its study."""
    if before.pk != study[0]:
        return ANOTHER_SLOT
    return TWICE if after.pk in study else None


def has_agreed(rider: Rider) -> bool:
    """Whether the rider agrees to pooled results now."""
    consents = Consent.objects.filter(rider=rider, purpose=ConsentPurpose.POOLED_RESULTS)
    return consents.filter(withdrawn_at__isnull=True).exists()


def arms_of_analysis(analysis: Analysis) -> list[Arm]:
    """Arms that the analysis puts in, unsaved: one study for each category with a comparison that enters."""
    entering: dict[str, list[Offer]] = {}
    for offer in offers_of(analysis):
        if offer.excluded is None and offer.category is not None:
            entering.setdefault(offer.category, []).append(offer)
    return [arm for category, offers in entering.items() for arm in _study(analysis, category, offers)]


def _slots(session: FieldSession) -> dict[str, dict[str, Product]]:
    links = session.setup_links.prefetch_related("setup__slots__item__product")
    return {link.setup.label: {slot.slot: slot.item.product for slot in link.setup.slots.all()} for link in links}


def _offer(comparison: Mapping[str, Any], slots: Slots) -> Offer:
    names = (comparison["reference"], comparison["changed"])
    factors = [change["factor"] for change in comparison["changes"]]
    why = _unfit(factors, comparison)
    if why:
        return Offer(*names, None, None, None, why)
    slot = factors[0].removeprefix(ITEM)
    before, after = (slots.get(name, {}).get(slot) for name in names)
    # A setup mended since may hold another product under the same label: the figures are not that one's.
    told = [comparison["changes"][0][side] for side in ("from", "to")]
    if before is None or after is None or before == after or [before.name, after.name] != told:
        return Offer(*names, None, before, after, GONE)
    if before.category != after.category:
        both = f"{before} is of {before.category} and {after} of {after.category}"
        return Offer(*names, None, before, after, f"The products are of two categories: {both}.")
    return Offer(*names, after.category, before, after, None)


def _unfit(factors: Sequence[str], comparison: Mapping[str, Any]) -> str | None:
    if not factors:
        return NOTHING
    if len(factors) > 1:
        named = ", ".join(factors)
        return f"{len(factors)} factors changed ({named}): the difference belongs to the package, to no one product."
    if not factors[0].startswith(ITEM):
        return f"What changed is {factors[0]}, which is no product."
    if comparison["verdict"] == "invalid":
        return INVALID
    if comparison["ridden_delta_m2"] is None or not comparison.get("ridden_u_m2"):
        return NO_ERROR
    return None


def _study(analysis: Analysis, category: str, offers: Sequence[Offer]) -> list[Arm]:
    """The reference's arm and one for every changed product; all resistance as ridden, which tyres need."""
    setups = {setup["label"]: setup for setup in analysis.result["setups"]}
    told = {comparison["changed"]: comparison for comparison in analysis.result["comparisons"]}
    reference, level = offers[0].before, setups[offers[0].reference]
    runs = np.array([max(1, setups[offer.changed]["runs"]) for offer in offers], np.float64)
    u_m2 = np.array([told[offer.changed]["ridden_u_m2"] for offer in offers])
    own, others = arm_errors(u_m2, max(1, level["runs"]), runs)
    base = level["cda_m2"] or 0.0  # a level cancels in every difference
    rows = [(reference, base, own)]
    rows += [
        (offer.after, base + told[offer.changed]["ridden_delta_m2"], float(error))
        for offer, error in zip(offers, others, strict=True)
    ]
    session = analysis.session
    ridden = {offers[0].reference, *(offer.changed for offer in offers)}
    yaw_deg = _mean_ridden(analysis, ridden, "mean_abs_yaw_deg")
    where = {
        "bike_kind": bike_band(session.bike.kind),
        "height_band": height_band(session.rider.height_cm),
        "yaw_band": yaw_band(yaw_deg),
        "height_cm": session.rider.height_cm,
        "mean_speed_mps": _mean_ridden(analysis, ridden, "mean_speed_mps"),
        "mean_abs_yaw_deg": yaw_deg,
    }
    return [
        Arm(
            studio_id=session.studio_id,
            analysis=analysis,
            session=session,
            rider=session.rider,
            product=product,
            category=category,
            cda_m2=value,
            se_m2=error,
            **where,
        )
        for product, value, error in rows
    ]


def _mean_ridden(analysis: Analysis, setups: set[str], key: str) -> float | None:
    """Mean over the time ridden in the runs of these setups; None where no run tells it."""
    told = [
        (run[key], run["used_s"] or 0.0)
        for run in analysis.result["runs"]
        if run["setup"] in setups and run[key] is not None
    ]
    seconds = sum(used for _, used in told)
    return sum(value * used for value, used in told) / seconds if seconds > 0.0 else None

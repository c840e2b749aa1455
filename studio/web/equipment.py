"""Equipment: the catalogue with its pieces, and the history of a product or of one piece."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from analysis.results.equipment_history import EquipmentTest, Outcome, Ridden, equipment_history
from reports import wording
from reports.numerals import difference, interval, rounded
from studio.records.models import EquipmentItem, FieldSession, Mounting, Product
from studio.web.access import READERS, STAFF, is_staff, open_to
from studio.web.mount_form import MountForm, mount_form

CARRIED = "on both sides"


def distance_and_hours(ridden: Ridden) -> str:
    """How far and how long, and over how many runs."""
    if not ridden.runs:
        return "not ridden in any recording yet"
    hours = f"{rounded(ridden.time_s / 3600, 1)} h"
    said = f"{rounded(ridden.distance_m / 1000, 1)} km and {hours} in {ridden.runs} run{'s' * (ridden.runs != 1)}"
    if not ridden.runs_not_read:
        return said
    return f"{said}, of which {ridden.runs_not_read} not counted: analyse their session again"


def outcome_shown(outcome: Outcome) -> dict[str, Any]:
    """A comparison in a line."""
    comparison = outcome.comparison
    sides = f"{wording.setup_name(comparison['changed'])} against {wording.setup_name(comparison['reference'])}"
    return {
        "analysis": outcome.analysis,
        "said": f"{wording.headline(comparison)}: {sides}" + ("" if outcome.of_this else f" ({CARRIED})"),
        "difference": difference(comparison["ridden_delta_m2"], "m2"),
        "interval": interval(comparison["ridden_ci95_m2"], "m2"),
    }


def day_shown(test: EquipmentTest) -> dict[str, Any]:
    """One test day as a row of the table."""
    return {
        "session": test.session,
        "setups": ", ".join(test.setups),
        "ridden": distance_and_hours(test.ridden),
        "outcomes": [outcome_shown(outcome) for outcome in test.outcomes],
        "instruments": test.instruments,
    }


def history_page(
    request: HttpRequest, title: str, items: Sequence[EquipmentItem], about: Mapping[str, Any], status: int = 200
) -> HttpResponse:
    """The history of these items, of what the caller may see."""
    history = equipment_history(
        items,
        mountings=Mounting.objects.visible_to(request.user),
        sessions=FieldSession.objects.visible_to(request.user),
    )
    shown = {
        "title": title,
        "items": items,
        "ridden": distance_and_hours(history.ridden),
        "mountings": history.mountings,
        "tests": [day_shown(test) for test in history.tests],
        "left_off": history.tests_in_all - len(history.tests),
        "staff": is_staff(request),
    }
    return render(request, "web/history.html", {**shown, **about}, status=status)


@open_to(*STAFF)
def equipment_list(request: HttpRequest) -> HttpResponse:
    """The catalogue by category; a page without it teaches how it fills."""
    products = Product.objects.visible_to(request.user).annotate(pieces=Count("items")).order_by("category", "name")
    by_category: dict[str, list[Product]] = {}
    for product in products:
        by_category.setdefault(product.category, []).append(product)
    return render(request, "web/equipment.html", {"by_category": by_category})


@open_to(*STAFF)
def product_history(request: HttpRequest, product_id: UUID) -> HttpResponse:
    product = get_object_or_404(Product.objects.visible_to(request.user), pk=product_id)
    pieces = EquipmentItem.objects.visible_to(request.user).filter(product=product)
    return history_page(request, product.name, list(pieces.select_related("product", "rider")), {"product": product})


@open_to(*READERS)
def item_history(request: HttpRequest, item_id: UUID) -> HttpResponse:
    visible = EquipmentItem.objects.visible_to(request.user).select_related("product", "rider")
    item = get_object_or_404(visible, pk=item_id)
    return item_page(request, item, mount_form(request, item) if is_staff(request) else None)


def item_page(request: HttpRequest, item: EquipmentItem, form: MountForm | None) -> HttpResponse:
    """The history of a piece, for staff with the form that mounts it."""
    about = {"product": item.product, "item": item, "form": form, "now": timezone.now()}
    return history_page(request, str(item), [item], about, status=422 if form and form.errors else 200)

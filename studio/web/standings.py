"""The shop's page: what tested fastest, as a table and drawn, with what cannot be said and why."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.safestring import mark_safe

from analysis.results.shop_question import BANDS, KEYS, NUMBERS, answer_of, question_of
from analysis.results.standings import categories_of, current_edition
from reports.numerals import ABSENT, difference, interval, plain, rounded
from reports.standings_figure import standings_figure
from reports.svg import write_svg
from studio.records.errors import RecordsError
from studio.records.models import Role
from studio.records.selectors.stock import products_in
from studio.web.access import caller, is_staff, open_to

WORDS = {
    "bike_kind": "Bike",
    "height": "Rider's height (cm)",
    "yaw": "Wind angle (degrees)",
    "speed_kmh": "Speed (km/h)",
    "distance_km": "Distance (km)",
    "power_w": "Power (W)",
    "max_price": "Price at most",
}
STEPS = {"height": "cm more of the rider's height", "speed": "km/h more", "yaw": "degrees more of wind angle"}
NO_EDITION = (
    "There are no figures yet. A figure is shown only when at least three riders stand behind it and none of them can "
    "be made out; the studio's next edition may have some."
)


def row_shown(row: Mapping[str, Any]) -> dict[str, Any]:
    """A product as printed."""
    money = "" if row["price"] is None else f"{row['price']:.2f} {row['currency'] or ''}".strip()
    return {
        "product": row["product"],
        "withheld": row["withheld"],
        "effect": difference(row["effect_m2"], "m2"),
        "interval": interval(row["ci95_m2"], "m2"),
        "new_rider": interval(row["prediction95_m2"], "m2"),
        "watts": difference(row["delta_w"], "W"),
        "seconds": difference(row["delta_s"], "s"),
        "best": ABSENT if row["p_best"] is None else f"{rounded(100 * row['p_best'], 0)} %",
        "riders": ABSENT if row["riders"] is None else row["riders"],
        "faster": "" if row["faster_riders"] is None else f"{row['faster_riders']} of {row['counted_riders']}",
        "price": money,
        "per_100": "" if row["watts_per_100"] is None else f"{rounded(row['watts_per_100'], 2)} W",
    }


def cannot_be_said(document: Mapping[str, Any]) -> list[str]:
    """Plain sentences, a reason each."""
    reasons: dict[str, list[str]] = {}
    for row in document["products"]:
        if row["withheld"]:
            reasons.setdefault(row["withheld"], []).append(row["product"])
    said = [f"Nothing can be said of {', '.join(names)}: {reason}." for reason, names in reasons.items()]
    shown = [row for row in document["products"] if not row["withheld"]]
    if shown and all(row["ci95_m2"] is None for row in shown if row["id"] != document["reference_id"]):
        said.append("Intervals and chances need ten riders; so far there are fewer.")
    return said


def transfers(document: Mapping[str, Any]) -> str:
    """What a new rider can expect of the product that tested fastest."""
    rows = [row for row in document["products"] if row["prediction95_m2"] and row["id"] != document["reference_id"]]
    if not rows:
        return ""
    best = rows[0]
    low, high = (difference(end, "m2") for end in best["prediction95_m2"])
    return (
        f"With {best['product']} instead of {document['reference']}, a new rider can expect between {low} and {high} "
        f"m\N{SUPERSCRIPT TWO} (95 %; minus is faster).{counted(best)}"
    )


def counted(row: Mapping[str, Any]) -> str:
    """On how many riders, where that may be said."""
    if row["faster_riders"] is None:
        return ""
    return f" It was faster on {row['faster_riders']} of {row['counted_riders']} riders counted."


def changes(document: Mapping[str, Any]) -> list[str]:
    """What differences change with, a sentence for each slope that is told and that is not chance alone."""
    return [
        f"{row['product']}: with {_step(slope)} the difference changes by {difference(slope['slope_m2'], 'm2')} "
        f"({interval(slope['ci95_m2'], 'm2')}) m\N{SUPERSCRIPT TWO}."
        for row in document["products"]
        for slope in row["slopes"] or ()
        if slope["ci95_m2"] and slope["ci95_m2"][0] * slope["ci95_m2"][1] > 0.0
    ]


def _step(slope: Mapping[str, Any]) -> str:
    if slope["moderator"] == "bike_kind":
        return f"a {slope['unit'].replace(' instead of ', ' bike instead of a ')} bike"
    return f"{plain(slope['step'])} {STEPS[slope['moderator']]}"


def fields(asked: Mapping[str, str]) -> list[dict[str, Any]]:
    """The form's plain fields, as they were filled in."""
    chosen = [{"key": key, "words": WORDS[key], "bands": BANDS[key], "value": asked.get(key, "")} for key in BANDS]
    typed = [
        {"key": key, "words": WORDS[key], "value": asked.get(key, ""), "usual": "" if usual is None else plain(usual)}
        for key, (usual, _, _) in NUMBERS.items()
    ]
    return [*chosen, *typed, {"key": "currency", "words": "Currency", "value": asked.get("currency", ""), "usual": ""}]


def _transfer_page(request: HttpRequest, document: Mapping[str, Any]) -> str:
    """Where fitters and owners read on, with the product that tested fastest."""
    others = [row for row in document["products"] if row["id"] != document["reference_id"]]
    if not is_staff(request) or not others or not document["reference_id"]:
        return ""
    asked = {"category": document["category"], "product": others[0]["id"], "reference": document["reference_id"]}
    return f"{reverse('web:transfer')}?{urlencode(asked)}"


@open_to(Role.SHOP, Role.OWNER, Role.FITTER)
def standings(request: HttpRequest) -> HttpResponse:
    studio = caller(request).studio
    edition = current_edition(studio)
    categories = categories_of(edition) if edition else ()
    asked = {key: request.GET[key] for key in KEYS if request.GET.get(key)}
    if categories:
        asked.setdefault("category", categories[0])
    shown: dict[str, Any] = {"categories": categories, "asked": asked, "fields": fields(asked), "nothing": NO_EDITION}
    if not categories:
        return render(request, "web/standings.html", shown)
    shown["references"] = products_in(studio, asked["category"])
    try:
        document = answer_of(studio, question_of(asked))
    except RecordsError as refusal:
        return render(request, "web/standings.html", shown | {"refusal": refusal}, status=422)
    told = [row for row in document["products"] if not row["withheld"]]
    shown |= {
        "document": document,
        "rows": [row_shown(row) for row in document["products"]],
        "figure": mark_safe(write_svg(standings_figure(document))) if told else "",
        "unsaid": cannot_be_said(document),
        "transfers": transfers(document),
        "changes": changes(document),
        "transfer": _transfer_page(request, document),
        "csv": f"{reverse('api:standings')}?{urlencode(asked | {'format': 'csv'})}",
    }
    return render(request, "web/standings.html", shown)

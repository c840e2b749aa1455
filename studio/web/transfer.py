"""For fitters and owners: does a difference transfer, and how far does one rider carry it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from analysis.results.standings import categories_of, current_edition
from analysis.results.transfer import KEYS, asked_of, transfer_of
from reports.numerals import ABSENT, difference, interval, plain, rounded
from studio.records.errors import RecordsError
from studio.records.models import Rider
from studio.records.selectors.stock import products_in
from studio.web.access import STAFF, caller, open_to

WORDS = {"height": "Rider's height", "speed": "Speed", "yaw": "Wind angle", "bike_kind": "Bike"}


def moderator_shown(row: Mapping[str, Any]) -> dict[str, Any]:
    """A slope as printed."""
    kinds = row["moderator"] == "bike_kind"
    return {
        "moderator": WORDS[row["moderator"]],
        "step": row["unit"] if kinds else f"{plain(row['step'])} {row['unit']} more",
        "untold": row["untold"],
        "slope": difference(row["slope_m2"], "m2"),
        "interval": interval(row["ci95_m2"], "m2"),
        "explained": ABSENT if row["explained"] is None else f"{rounded(100 * row['explained'], 0)} %",
        "riders": row["riders"],
    }


def left_out_shown(row: Mapping[str, Any], codes: Mapping[str, str]) -> dict[str, Any]:
    """A rider's row as printed."""
    return {
        "rider": codes.get(row["rider"], row["rider"]),
        "share": f"{rounded(100 * row['share'], 0)} %",
        "untold": row["untold"],
        "effect": difference(row["effect_m2"], "m2"),
        "change": difference(row["change_m2"], "m2"),
    }


@open_to(*STAFF)
def transfer(request: HttpRequest) -> HttpResponse:
    studio = caller(request).studio
    edition = current_edition(studio)
    asked = {key: request.GET[key] for key in KEYS if request.GET.get(key)}
    products = products_in(studio, asked.get("category", ""))
    shown: dict[str, Any] = {
        "asked": asked,
        "categories": categories_of(edition) if edition else (),
        "products": products,
    }
    if len(asked) < len(KEYS):
        return render(request, "web/transfer.html", shown)
    try:
        document = transfer_of(studio, asked_of(studio, asked))
    except RecordsError as refusal:
        return render(request, "web/transfer.html", shown | {"refusal": refusal}, status=422)
    riders = Rider.objects.visible_to(request.user).filter(pk__in=[row["rider"] for row in document["left_out"]])
    codes = {str(pk): code for pk, code in riders.values_list("pk", "code")}
    shown |= {
        "document": document,
        "effect": difference(document["effect_m2"], "m2"),
        "moderators": [moderator_shown(row) for row in document["moderators"]],
        "left_out": [left_out_shown(row, codes) for row in document["left_out"]],
    }
    return render(request, "web/transfer.html", shown)

"""The result of a session: the answer in a sentence, every run, what changed, and what to mind."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.safestring import mark_safe

from analysis.jobs.enqueue import enqueue
from analysis.results.models import Analysis
from reports import wording
from reports.changes import change_rows
from reports.figures import COVERAGE, runs_figure
from reports.models import Report
from reports.numerals import ABSENT, amount, difference, interval, plain, two_digits
from reports.svg import write_svg
from reports.wording import SQUARE_METRES
from studio.web.access import READERS, STAFF, caller, is_staff, open_to
from studio.web.answers import ONE_SETUP, changed

KMH_PER_MPS = 3.6
LEVELS = {"invalid": "No verdict", "caution": "Read this", "note": "For the record"}


def comparison_shown(result: Mapping[str, Any], comparison: Mapping[str, Any]) -> dict[str, Any]:
    """One comparison in words and figures."""
    several = len(result["comparisons"]) > 1
    return {
        "changed": wording.setup_name(comparison["changed"]),
        "reference": wording.setup_name(comparison["reference"]),
        "verdict": comparison["verdict"],
        "headline": wording.headline(comparison),
        "answer": wording.answer(result, comparison),
        "what_changed": changed(comparison),
        "next": wording.what_next(result, comparison),
        "figures": list(figure_rows(comparison, several=several)),
        "changes": [row for change in comparison["changes"] for row in change_rows(change)],
        "watts": [watts_row(row) for row in comparison["watts"]],
        "time": [time_row(row) for row in comparison["time"]],
    }


def watts_row(row: Mapping[str, Any]) -> dict[str, str]:
    at = f"at {plain(row['speed_kmh'])} km/h"
    return {"at": at, "difference": difference(row["delta_w"], "W"), "interval": interval(row["ci95_w"], "W")}


def time_row(row: Mapping[str, Any]) -> dict[str, str]:
    at = f"over {plain(row['distance_km'])} km at {plain(row['power_w'])} W"
    return {"at": at, "difference": difference(row["delta_s"], "s"), "interval": interval(row["ci95_s"], "s")}


def figure_rows(comparison: Mapping[str, Any], *, several: bool) -> Iterable[tuple[str, str, str]]:
    """What was measured: name, difference, 95 % interval. Three rows where rolling changed as well as drag."""
    ridden, ends = comparison["ridden_delta_m2"], wording.deciding_interval(comparison, several=several)
    rolling = comparison["delta_crr"] is not None
    name = f"all resistance, as drag area ({SQUARE_METRES})" if rolling else f"drag area ({SQUARE_METRES})"
    yield name, difference(ridden, "m2"), interval(ends, "m2")
    if rolling:
        drag, drag_ends = comparison["delta_cda_m2"], comparison["ci95_m2"]
        yield f"drag area by itself ({SQUARE_METRES})", difference(drag, "m2"), interval(drag_ends, "m2")
        crr, crr_ends = comparison["delta_crr"], comparison["ci95_crr"]
        yield "rolling coefficient Crr", difference(crr, "crr"), interval(crr_ends, "crr")


def run_row(run: Mapping[str, Any]) -> dict[str, Any]:
    """A run as printed; a run that was left out has no figures."""
    u_m2, speed = run["u_m2"], run["mean_speed_mps"]
    known = run["cda_m2"] is not None
    reach = None if u_m2 is None or not known else [run["cda_m2"] - COVERAGE * u_m2, run["cda_m2"] + COVERAGE * u_m2]
    return {
        "number": run["number"],
        "setup": run["setup"],
        "known": known,
        "cda": amount(run["cda_m2"], "m2"),
        "interval": ABSENT if reach is None else f"{amount(reach[0], 'm2')} to {amount(reach[1], 'm2')}",
        "u": ABSENT if u_m2 is None else two_digits(u_m2),
        "speed": amount(None if speed is None else speed * KMH_PER_MPS, "km/h"),
        "density": amount(run["air_density_kg_m3"], "kg/m3"),
        "yaw": amount(run["mean_abs_yaw_deg"], "deg"),
        "used": amount(run["used_s"], "s"),
        "left_out": amount(run["left_out_s"], "s"),
        "warnings": [warning["what"] for warning in run["warnings"]],
    }


def plain_interval(ends: list[float] | None) -> str:
    return ABSENT if ends is None else f"{amount(ends[0], 'm2')} to {amount(ends[1], 'm2')}"


def setup_row(setup: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "label": setup["label"],
        "runs": setup["runs"],
        "cda": amount(setup["cda_m2"], "m2"),
        "within": plain_interval(setup["ci95_within_m2"]),
        "whole": plain_interval(setup["ci95_m2"]),
    }


def findings(result: Mapping[str, Any]) -> list[dict[str, str]]:
    """Every warning in words, the gravest first."""
    order = list(LEVELS)
    ranked = sorted(result["warnings"], key=lambda warning: order.index(warning["level"]))
    return [{"level": w["level"], "heading": LEVELS[w["level"]], "text": wording.warning_sentence(w)} for w in ranked]


def figure_markup(result: Mapping[str, Any]) -> str:
    """The runs figure; the SVG writer escapes every text that it takes over."""
    return mark_safe(write_svg(runs_figure(result, width=440.0, height=200.0))) if result["runs"] else ""


def result_shown(result: Mapping[str, Any]) -> dict[str, Any]:
    """The stored result as the page says it."""
    return {
        "comparisons": [comparison_shown(result, comparison) for comparison in result["comparisons"]],
        "one_setup": ONE_SETUP,
        "figure": figure_markup(result),
        "runs": [run_row(run) for run in result["runs"]],
        "setups": [setup_row(setup) for setup in result["setups"]],
        "findings": findings(result),
        "rule": wording.decision_rule(result),
        "convention": wording.CONVENTION,
        "cautions": wording.CAUTIONS,
        "engine": result["engine"],
    }


@open_to(*READERS)
def result_page(request: HttpRequest, analysis_id: UUID) -> HttpResponse:
    visible = Analysis.objects.visible_to(request.user).select_related("session__rider", "session__course")
    analysis = get_object_or_404(visible, pk=analysis_id)
    newer = Analysis.objects.visible_to(request.user).filter(session=analysis.session, number__gt=analysis.number)
    shown = result_shown(analysis.result) | {
        "analysis": analysis,
        "session": analysis.session,
        "staff": is_staff(request),
        "newer": newer.order_by("-number").first(),
        "reports": Report.objects.visible_to(request.user).filter(analysis=analysis).defer("pdf", "facts"),
    }
    return render(request, "web/result.html", shown)


@open_to(*STAFF)
def issue(request: HttpRequest, analysis_id: UUID) -> HttpResponse:
    """Ask for a report; by GET (a sign-in came in between) nothing is asked."""
    analysis = get_object_or_404(Analysis.objects.visible_to(request.user), pk=analysis_id)
    if request.method != "POST":
        return redirect("web:result", analysis.pk)
    by, payload = caller(request), {"analysis": str(analysis.pk)}
    job = enqueue(kind="issue_report", studio=by.studio, by=by.user, payload=payload, session=analysis.session)
    return redirect("web:job", job.pk)

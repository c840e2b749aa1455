"""An analysis beside the one that it supersedes: both verdicts and figures, and what was put right in between."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from analysis.results.models import Acceptance, Analysis
from reports.numerals import ABSENT
from studio.records.models import Correction
from studio.web.access import READERS, is_staff, open_to
from studio.web.results import comparison_shown, run_row, setup_row

NOT_TESTED = "not tested"
LEFT_OUT = "left out"
MOST_CORRECTIONS = 50

Side = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class VersionRow:
    """One thing as either analysis says it."""

    name: str
    before: str
    after: str

    @property
    def differs(self) -> bool:
        """Whether the two say different things."""
        return self.before != self.after


@open_to(*READERS)
def before_and_after(request: HttpRequest, analysis_id: UUID) -> HttpResponse:
    """Both versions; the first analysis of a session has nothing before it and is shown by itself."""
    visible = Analysis.objects.visible_to(request.user).select_related("session__rider", "supersedes")
    now = get_object_or_404(visible, pk=analysis_id)
    before, staff = now.supersedes, is_staff(request)
    if before is None:
        return redirect("web:result", now.pk)
    shown = {
        "session": now.session,
        "staff": staff,
        "before": before,
        "now": now,
        "same_records": before.inputs_sha256 == now.inputs_sha256,
        "comparisons": comparison_tables(before.result, now.result),
        "runs": rows(run_values(before.result), run_values(now.result), "no such run"),
        "setups": rows(setup_values(before.result), setup_values(now.result), NOT_TESTED),
        "corrections": corrections_between(request, before, now) if staff else [],
        "accepted": Acceptance.objects.filter(session=now.session).select_related("analysis").first()
        if staff
        else None,
    }
    return render(request, "web/before-and-after.html", shown)


def corrections_between(request: HttpRequest, before: Analysis, now: Analysis) -> list[Correction]:
    """What was put right after the earlier analysis and before the later one, oldest first."""
    found = Correction.objects.visible_to(request.user).filter(session_key=now.session_id)
    between = found.filter(created_at__gt=before.created_at, created_at__lte=now.created_at)
    return list(between.order_by("pk")[:MOST_CORRECTIONS])


def rows(before: Side, after: Side, absent: str) -> list[VersionRow]:
    """A row for everything that either of them tells, in the later one's order."""
    names = dict.fromkeys([*after, *before])
    return [VersionRow(name, before.get(name, absent), after.get(name, absent)) for name in names]


def comparison_tables(before: Mapping[str, Any], now: Mapping[str, Any]) -> list[dict[str, Any]]:
    """For each two setups that either analysis compared: verdict and figures of both."""
    old, new = comparison_values(before), comparison_values(now)
    return [
        {"title": title, "rows": rows(old.get(title, {}), new.get(title, {}), "not compared")}
        for title in dict.fromkeys([*new, *old])
    ]


def comparison_values(result: Mapping[str, Any]) -> dict[str, Side]:
    """What an analysis says of each two setups, by their names."""
    told: dict[str, Side] = {}
    for comparison in result["comparisons"]:
        shown = comparison_shown(result, comparison)
        values = {"verdict": shown["headline"]}
        values |= {name: _with_interval(difference, ends) for name, difference, ends in shown["figures"]}
        values |= {f"watts {row['at']}": _with_interval(row["difference"], row["interval"]) for row in shown["watts"]}
        values |= {f"seconds {row['at']}": _with_interval(row["difference"], row["interval"]) for row in shown["time"]}
        told[f"{shown['changed']} against {shown['reference']}"] = values
    return told


def _with_interval(difference: str, ends: str) -> str:
    return difference if ends == ABSENT else f"{difference} ({ends})"


def setup_values(result: Mapping[str, Any]) -> Side:
    """The drag area of each setup, with its runs and the interval for comparing within the day."""
    told = {}
    for setup in map(setup_row, result["setups"]):
        runs = f"{setup['runs']} run{'s' * (setup['runs'] != 1)}"
        told[f"setup {setup['label']}"] = f"{_with_interval(setup['cda'], setup['within'])}, {runs}"
    return told


def run_values(result: Mapping[str, Any]) -> Side:
    """Setup and drag area of each run, or that it was left out."""
    told = {}
    for run in map(run_row, result["runs"]):
        told[f"run {run['number']}"] = f"{run['setup']}: {run['cda'] if run['known'] else LEFT_OUT}"
    return told

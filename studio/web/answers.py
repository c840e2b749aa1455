"""A session's answer in one line, for lists. The full sentences are `reports.wording`'s, shared with the PDF."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from reports import wording
from reports.changes import change_rows, factor_name
from reports.numerals import plain

MOST_CHANGES = 4
ONE_SETUP = "One setup was ridden: there is nothing to compare it with."


def sentences(result: Mapping[str, Any]) -> list[str]:
    """The answer to every comparison, in full."""
    return [wording.answer(result, comparison) for comparison in result["comparisons"]] or [ONE_SETUP]


def briefly(comparisons: list[Mapping[str, Any]]) -> list[str]:
    """Verdict and what it is worth in watts; no figure where the data do not carry a verdict."""
    return [_brief(comparison) for comparison in comparisons] or [ONE_SETUP]


def _brief(comparison: Mapping[str, Any]) -> str:
    names = [wording.setup_name(comparison[key]) for key in ("changed", "reference")]
    changed = ", ".join(factor_name(change["factor"]) for change in comparison["changes"])
    said = f"{wording.headline(comparison)}: {names[0]} against {names[1]}{f' ({changed})' if changed else ''}"
    watts = comparison["watts"][0] if comparison["watts"] else None
    if comparison["verdict"] not in {"faster", "slower"} or watts is None or watts["delta_w"] is None:
        return f"{said}."
    return f"{said}, {wording.measured(watts['delta_w'], 'W')} at {plain(watts['speed_kmh'])} km/h."


def changed(comparison: Mapping[str, Any]) -> str:
    """What is different about the changed setup, in one sentence; the table below it has the rest."""
    rows = [row for change in comparison["changes"] for row in change_rows(change)]
    if not rows:
        return "Nothing that was noted differs between the two."
    told = [f"{name}, from {before} to {after}" for name, before, after in rows[:MOST_CHANGES]]
    more = f"; and {len(rows) - MOST_CHANGES} more below" if len(rows) > MOST_CHANGES else ""
    return f"What changed: {'; '.join(told)}{more}."

"""A session's answer in one line, for lists. The full sentences are `reports.wording`'s, shared with the PDF."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from reports import wording
from reports.numerals import plain

ONE_SETUP = "One setup was ridden: there is nothing to compare it with."


def sentences(result: Mapping[str, Any]) -> list[str]:
    """The answer to every comparison, in full."""
    return [wording.answer(result, comparison) for comparison in result["comparisons"]] or [ONE_SETUP]


def briefly(comparisons: list[Mapping[str, Any]]) -> list[str]:
    """Verdict and what it is worth in watts; no figure where the data do not carry a verdict."""
    return [_brief(comparison) for comparison in comparisons] or [ONE_SETUP]


def _brief(comparison: Mapping[str, Any]) -> str:
    names = [wording.setup_name(comparison[key]) for key in ("changed", "reference")]
    said = f"{wording.headline(comparison)}: {names[0]} against {names[1]}"
    watts = comparison["watts"][0] if comparison["watts"] else None
    if comparison["verdict"] not in {"faster", "slower"} or watts is None or watts["delta_w"] is None:
        return f"{said}."
    return f"{said}, {wording.measured(watts['delta_w'], 'W')} at {plain(watts['speed_kmh'])} km/h."

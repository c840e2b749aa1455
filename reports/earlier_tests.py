"""What a report prints of the equipment's history: how far each piece was ridden before, and its earlier tests.

What is known of it was frozen by `equipment.py`; here it is only said.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from reports import wording
from reports.layout import SMALL, WIDTH, Strip, paragraph
from reports.numerals import difference, interval
from reports.wording import SQUARE_METRES

TITLE = "The equipment before this day"
MOST_TESTS = 4
"""Of each piece, the newest; facts.json has all."""


def earlier_tests(facts: Mapping[str, Any]) -> list[Strip]:
    """A paragraph for each piece that was ridden, mounted or tested before; nothing where none was."""
    strips: list[Strip] = []
    for item in facts["equipment"]:
        said = _said(item)
        if said:
            serial = f" (serial {item['serial']})" if item["serial"] else ""
            text = " ".join(said)
            text = f"{item['name']}{serial}: {text[0].lower()}{text[1:]}"
            strips += paragraph(text, WIDTH, size=SMALL + 0.4, after=1)
    return strips


def _said(item: Mapping[str, Any]) -> list[str]:
    own, others = item["ridden"], item["with_other_riders"]
    out = []
    if own["runs"]:
        out.append(f"ridden by this rider in {_times(own['runs'], 'run')}, {_way(own)}.")
    if others["tests"]:
        out.append(f"In {_times(others['tests'], 'test')} of other riders, {_way(others)}.")
    mounted = [f"{one['on']} from {one['mounted_at'][:10]}" for one in item["mounted"]]
    if mounted:
        out.append("Mounted: " + "; ".join(mounted) + ".")
    tests = [test for test in item["tests"] if test["results"]]
    out += [_test(test) for test in tests[:MOST_TESTS]]
    if len(tests) > MOST_TESTS:
        out.append(f"{_times(len(tests) - MOST_TESTS, 'earlier test')} in facts.json.")
    return out


def _times(count: int, what: str) -> str:
    return f"{count} {what}" + ("" if count == 1 else "s")


def _way(ridden: Mapping[str, Any]) -> str:
    return f"{ridden['distance_m'] / 1000:.1f} km in {ridden['time_s'] / 3600:.1f} h"


def _test(test: Mapping[str, Any]) -> str:
    results = [_result(one) for one in test["results"]]
    return f"{test['date']}, {test['title'] or 'a test'}: " + "; ".join(results) + "."


def _result(one: Mapping[str, Any]) -> str:
    """Of a package or of something else that changed, when the piece was the same on both sides."""
    word = wording.headline(one).lower()
    value = one["ridden_delta_m2"]
    figure = "" if value is None else f" {difference(value, 'm2')} {SQUARE_METRES}"
    ends = one["ridden_ci95_m2"]
    sure = f" (95 % interval {interval(ends, 'm2')})" if ends else ""
    about = "" if one["of_this"] else ", something else was changed"
    return f"{one['changed']} against {one['reference']} {word}{figure}{sure}{about}"

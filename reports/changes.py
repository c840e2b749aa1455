"""Before and after side by side: one column a setup, one row a thing that changed, and what each setup measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from reports.layout import WIDTH, Strip, table
from reports.numerals import amount, plain
from reports.wording import SQUARE_METRES

_UNITS = {
    "mm": "mm",
    "cm": "cm",
    "m": "m",
    "deg": "\N{DEGREE SIGN}",
    "kpa": "kPa",
    "kg": "kg",
    "g": "g",
    "percent": "%",
}
_FACTORS = {"tyre_pressure_kpa": "tyre pressure", "bottles": "bottles", "clothing": "clothing", "position": "position"}
SAME, NOTHING = "as before", "none stated"
_LONGEST = 240


def change_table(facts: Mapping[str, Any]) -> list[Strip]:
    """The table of a report; with many setups in several bands that each start with the reference."""
    result = facts["result"]
    reference = _reference(facts)
    others = [s["label"] for s in result["setups"] if s["label"] != reference]
    strips: list[Strip] = []
    for i in range(0, max(len(others), 1), 3):
        strips += _band(facts, reference, others[i : i + 3])
    return strips


def _reference(facts: Mapping[str, Any]) -> str:
    comparisons = facts["result"]["comparisons"]
    named = [s["label"] for s in facts["setups"] if s["reference"]]
    label: str = comparisons[0]["reference"] if comparisons else (named or [facts["result"]["setups"][0]["label"]])[0]
    return label


def _band(facts: Mapping[str, Any], reference: str, others: Sequence[str]) -> list[Strip]:
    result = facts["result"]
    changes = {c["changed"]: c["changes"] for c in result["comparisons"] if c["changed"] in others}
    before: dict[str, str] = {}
    after: dict[str, dict[str, str]] = {}
    for label, listed in changes.items():
        for change in listed:
            for name, was, now in change_rows(change):
                before.setdefault(name, was + _serial(facts, reference, change["factor"]))
                after.setdefault(name, {})[label] = now + _serial(facts, label, change["factor"])
    rows = [[name, was, *(after[name].get(label, SAME) for label in others)] for name, was in before.items()]
    runs = {setup["label"]: setup["runs"] for setup in result["setups"]}
    head = ["", *(f"{when}: {label} ({_count(runs[label])})" for when, label in _times(reference, others))]
    first = 104.0
    room = (WIDTH - first) / (1 + len(others))
    return table(head, [*rows, _measured(result, [reference, *others])], [first, *[room] * (1 + len(others))])


def _items(facts: Mapping[str, Any], label: str) -> Mapping[str, Any]:
    found: Mapping[str, Any] = next((s["items"] for s in facts["setups"] if s["label"] == label), {})
    return found


def _serial(facts: Mapping[str, Any], label: str, factor: str) -> str:
    """Which piece of an item it was, where the studio keeps its serial number."""
    item = _items(facts, label).get(factor.removeprefix("items.")) if factor.startswith("items.") else None
    return f" (serial {item['serial']})" if item and item["serial"] else ""


def items_kept(facts: Mapping[str, Any]) -> str:
    """Bike, and what every setup carried alike: the rest of what was tested."""
    bike, setups = facts["session"]["bike"], facts["setups"]
    first = setups[0]["items"] if setups else {}
    alike = {slot: item for slot, item in first.items() if all(s["items"].get(slot) == item for s in setups)}
    named = [
        f"{factor_name(slot)} {item['name']}" + (f" (serial {item['serial']})" if item["serial"] else "")
        for slot, item in sorted(alike.items())
    ]
    ridden = ", ".join(part for part in (bike["name"], bike["kind"], bike["frame"], bike["size"]) if part)
    return f"Bike: {ridden}." + (f" The same in all setups: {'; '.join(named)}." if named else "")


def _measured(result: Mapping[str, Any], labels: Sequence[str]) -> list[str]:
    setups = {s["label"]: s for s in result["setups"]}
    return [f"drag area, {SQUARE_METRES}", *(_with_interval(setups[label]) for label in labels)]


def _times(reference: str, others: Sequence[str]) -> list[tuple[str, str]]:
    return [("Before", reference), *(("After", label) for label in others)]


def _count(runs: int) -> str:
    return "1 run" if runs == 1 else f"{runs} runs"


def _with_interval(setup: Mapping[str, Any]) -> str:
    ends = setup["ci95_m2"]
    text = amount(setup["cda_m2"], "m2")
    return text if ends is None else f"{text} (95 %: {amount(ends[0], 'm2')} to {amount(ends[1], 'm2')})"


def change_rows(change: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    """What changed, before, after: a position or a pair of pressures as one row for each number that differs."""
    factor, was, now = change["factor"], change["from"], change["to"]
    name = factor_name(factor)
    if isinstance(was, Mapping) or isinstance(now, Mapping):
        before, after = (side if isinstance(side, Mapping) else {} for side in (was, now))
        keys = [key for key in sorted({*before, *after}) if before.get(key) != after.get(key)]
        unit = "kpa" if factor == "tyre_pressure_kpa" else None
        return [_coordinate(name, key, before.get(key), after.get(key), unit) for key in keys]
    return [(name, _said(was), _said(now))]


def factor_name(factor: str) -> str:
    """A factor by its plain name: `items.front_wheel` is the front wheel."""
    return _FACTORS.get(factor) or factor.removeprefix("items.").replace("_", " ")


def _coordinate(name: str, key: str, was: object, now: object, unit: str | None) -> tuple[str, str, str]:
    stem, _, tail = key.rpartition("_")
    if unit is None and stem and tail in _UNITS:
        key, unit = stem, tail
    words = key.replace("_", " ")
    title = f"{words} {name}" if name == "tyre pressure" else words
    return title, _said(was, unit), _said(now, unit)


def _said(value: object, unit: str | None = None) -> str:
    if value is None or value == "":
        return NOTHING
    text = plain(value) if not isinstance(value, list | Mapping) else str(value)
    text = text if len(text) <= _LONGEST else text[:_LONGEST] + "\N{HORIZONTAL ELLIPSIS}"
    mark = _UNITS.get(unit or "", "")
    return f"{text}{'' if mark == _UNITS['deg'] else ' '}{mark}".rstrip()

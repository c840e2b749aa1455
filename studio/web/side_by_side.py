"""Setups beside each other: every fact a row, a column for each setup, and which rows differ."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from studio.records.models import Setup

UNITS = {"mm": "mm", "cm": "cm", "m": "m", "deg": "°", "kpa": "kPa", "kg": "kg"}
NOT_NOTED = "not noted"


@dataclass(frozen=True, slots=True)
class FactRow:
    """One fact over all setups."""

    name: str
    values: tuple[str, ...]
    differs: bool


def in_words(key: str) -> str:
    """A key that carries its unit, as words: `pad_stack_mm` is `pad stack (mm)`."""
    stem, _, unit = key.rpartition("_")
    if stem and unit in UNITS:
        return f"{stem.replace('_', ' ')} ({UNITS[unit]})"
    return key.replace("_", " ")


def _said(value: object) -> str:
    if value is None:
        return NOT_NOTED
    if isinstance(value, float):
        return f"{value:g}"
    return str(value) or "none"


def facts_of(setup: Setup, changes: Mapping[str, Any] | None = None) -> Mapping[str, str]:
    """What a setup carries, by the name of the fact, in the order in which a fitter would read it out.

    With `changes`, as `setup_mend` takes them: what it would carry with those.
    """
    new = changes or {}
    items = {slot.slot: slot.item for slot in setup.slots.all()} | dict(new.get("items", {}))
    facts: dict[str, Any] = {slot.replace("_", " "): str(item) for slot, item in sorted(items.items()) if item}
    position = new.get("position", setup.position)
    coordinates = position.coordinates if position else {}
    facts |= {in_words(key): value for key, value in sorted(coordinates.items())}
    pressures = new.get("tyre_pressure_kpa", setup.tyre_pressure_kpa)
    facts |= {f"tyre pressure, {end} (kPa)": value for end, value in sorted(pressures.items())}
    own = {"clothing": "clothing", "bottles": "bottles", "system_mass_kg": "system mass (kg)"}
    facts |= {words: new.get(name, getattr(setup, name)) for name, words in own.items()}
    return {name: _said(value) for name, value in facts.items()}


def side_by_side(setups: Sequence[Setup]) -> list[FactRow]:
    """Rows for all facts that any of the setups has noted."""
    return fact_rows([facts_of(setup) for setup in setups])


def fact_rows(columns: Sequence[Mapping[str, str]]) -> list[FactRow]:
    """The same of facts at hand."""
    names = list(dict.fromkeys(name for column in columns for name in column))
    rows = []
    for name in names:
        values = tuple(column.get(name, NOT_NOTED) for column in columns)
        if set(values) != {NOT_NOTED}:
            rows.append(FactRow(name=name, values=values, differs=len(set(values)) > 1))
    return rows

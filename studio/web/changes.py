"""What changed between two setups, in words: one row for every fact, not one for every factor."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from studio.web.side_by_side import NOT_NOTED, in_words

NAMES = {"tyre_pressure_kpa": "tyre pressure, {} (kPa)"}


def change_rows(changes: Iterable[Mapping[str, Any]]) -> list[dict[str, str]]:
    """Name, before and after of each fact that differs."""
    return [row for change in changes for row in _rows(change["factor"], change["from"], change["to"])]


def _rows(factor: str, before: object, after: object) -> Iterable[dict[str, str]]:
    if not isinstance(before, Mapping) and not isinstance(after, Mapping):
        yield _row(in_words(factor.removeprefix("items.")), before, after)
        return
    old, new = (side if isinstance(side, Mapping) else {} for side in (before, after))
    for key in dict.fromkeys([*old, *new]):
        if old.get(key) != new.get(key):
            yield _row(NAMES.get(factor, "{}").format(in_words(key)), old.get(key), new.get(key))


def _row(name: str, before: object, after: object) -> dict[str, str]:
    said = [NOT_NOTED if value is None else str(value) or "none" for value in (before, after)]
    return {"name": name, "before": said[0], "after": said[1]}

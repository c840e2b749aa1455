"""The intervals of standings, a row a product: a line for the 95 % interval, a thinner one for a new rider.

As `figures.py`: a figure takes a finished document, places numbers and computes none.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from reports.figures import marker, round_scale
from reports.numerals import difference, interval, signed
from reports.scripts import clean
from reports.shapes import Figure, Line, Shape, Text

_LEFT, _TOP, _ROW, _BELOW, _SIZE = 150.0, 16.0, 20.0, 22.0, 8.0
_LONGEST = 28
TITLE = "Difference of every product to the reference"


def standings_figure(document: Mapping[str, Any], *, width: float = 500.0) -> Figure:
    """Every product that has figures, the fastest above; zero is the reference."""
    rows = [row for row in document["products"] if row["effect_m2"] is not None]
    ends = [0.0, *(one for row in rows for one in _ends(row))]
    low, high, step = round_scale(ends)
    bottom = _TOP + _ROW * len(rows)

    def x(value: float) -> float:
        return round(_LEFT + (value - low) / (high - low) * (width - _LEFT - 26.0), 3)

    shapes: list[Shape] = [Text(0, 10.8, "faster is to the left; difference in m\N{SUPERSCRIPT TWO}", "soft", _SIZE)]
    for i in range(round((high - low) / step) + 1):
        value = low + i * step
        shapes.append(Line(x(value), _TOP, x(value), bottom, "axis" if abs(value) < step / 2 else "grid"))
        shapes.append(Text(x(value), bottom + 13, signed(value, 4), "soft", _SIZE, anchor="middle"))
    for i, row in enumerate(rows):
        shapes += _row(row, x, round(_TOP + _ROW * (i + 0.5), 3))
    return Figure(width, bottom + _BELOW, TITLE, _in_words(rows), tuple(shapes))


def _ends(row: Mapping[str, Any]) -> list[float]:
    return [row["effect_m2"], *(row["ci95_m2"] or ()), *(row["prediction95_m2"] or ())]


def _row(row: Mapping[str, Any], x: Callable[[float], float], y: float) -> list[Shape]:
    name = clean(row["product"])
    name = name if len(name) <= _LONGEST else f"{name[: _LONGEST - 1]}\N{HORIZONTAL ELLIPSIS}"
    shapes: list[Shape] = [Text(_LEFT - 8, y + 3, name, "ink", _SIZE + 1, anchor="end", room=_LEFT - 8)]
    if row["prediction95_m2"]:
        shapes.append(Line(x(row["prediction95_m2"][0]), y, x(row["prediction95_m2"][1]), y, "rule"))
    if row["ci95_m2"]:
        low, high = (x(end) for end in row["ci95_m2"])
        shapes += [Line(low, y, high, y, "s0-bar"), *(Line(end, y - 3, end, y + 3, "s0-bar") for end in (low, high))]
    return [*shapes, marker(x(row["effect_m2"]), y, 3.4, 0)]


def _in_words(rows: Sequence[Mapping[str, Any]]) -> str:
    parts = []
    for row in rows:
        sure = f", 95 % interval {interval(row['ci95_m2'], 'm2')}" if row["ci95_m2"] else ""
        parts.append(f"{clean(row['product'])}: {difference(row['effect_m2'], 'm2')} square metres{sure}.")
    return " ".join(parts)

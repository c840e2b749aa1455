"""What is drawn of a result: every run as a dot with its interval in riding order, and the setups' means.

A figure takes a stored result and never a row; it places numbers and computes none. `svg.py` and `canvas.py` write it.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from reports.numerals import amount, rounded
from reports.scripts import clean
from reports.shapes import SETUP_COLOURS, Circle, Figure, Line, Path, Polygon, Shape, Text

COVERAGE = 2
"""Bars of single runs reach two standard uncertainties to each side (k = 2, JCGM 100 section 6)."""

_LEFT, _RIGHT, _BELOW, _ROW, _KEY_ROW = 46.0, 60.0, 19.0, 11.0, 13.0
_KEY_LEFT = 84.0
_SMALL = 7.5


@dataclass(frozen=True, slots=True)
class _Field:
    """The drawing area and its two scales."""

    left: float
    right: float
    top: float
    bottom: float
    low: float
    high: float
    count: int

    def x(self, place: int) -> float:
        step = (self.right - self.left) / self.count
        return self.left + (place + 0.5) * step

    def y(self, value: float) -> float:
        return self.bottom - (value - self.low) / (self.high - self.low) * (self.bottom - self.top)


def runs_figure(result: Mapping[str, Any], *, width: float = 500.0, height: float = 200.0) -> Figure:
    """Every run in riding order with its interval, the setups' means beside them.

    A run's height on the page is linear in its drag area, so that distances can be compared by eye.
    """
    runs, setups = result["runs"], result["setups"]
    looks = {setup["label"]: i for i, setup in enumerate(setups)}
    key, top = _key(setups, runs, width)
    low, high, step = round_scale(_ends(runs, setups))
    means = _RIGHT + 14.0 * len(setups)
    field = _Field(_LEFT, width - means, top, height - _BELOW, low, high, len(runs))
    shapes: list[Shape] = [*key, *_axes(field, step, width)]
    for i, setup in enumerate(setups):
        shapes += _mean(field, setup, i)
    shapes += _mean_numbers(field, setups)
    for place, run in enumerate(runs):
        shapes += _run(field, run, place, looks)
    return Figure(width, height, "Drag area of every run, in riding order", _in_words(result), tuple(shapes))


def marker(x: float, y: float, size: float, look: int) -> Shape:
    """The sign of a setup: its shape tells it apart, its colour only helps."""
    role, kind = f"s{look % len(SETUP_COLOURS)}", look % 6
    if kind == 0:
        return Circle(x, y, size, role)
    corners, turn, reach = ((4, 45, 1.25), (3, -90, 1.35), (4, 0, 1.4), (3, 90, 1.35), (5, -90, 1.2))[kind - 1]
    points = (
        (math.cos(math.radians(turn + 360 * k / corners)), math.sin(math.radians(turn + 360 * k / corners)))
        for k in range(corners)
    )
    return Polygon(tuple((round(x + size * reach * c, 3), round(y + size * reach * s, 3)) for c, s in points), role)


def _role(look: int, kind: str) -> str:
    return f"s{look % len(SETUP_COLOURS)}-{kind}"


def _ends(runs: Sequence[Mapping[str, Any]], setups: Sequence[Mapping[str, Any]]) -> list[float]:
    """All values that must lie inside the drawing."""
    ends: list[float] = []
    for run in runs:
        if run["cda_m2"] is not None:
            reach = COVERAGE * (run["u_m2"] or 0.0)
            ends += [run["cda_m2"] - reach, run["cda_m2"] + reach]
    for setup in setups:
        if setup["cda_m2"] is not None:
            ends += [setup["cda_m2"], *(setup["ci95_within_m2"] or ())]
    return ends


def round_scale(ends: Sequence[float]) -> tuple[float, float, float]:
    """Lower end, upper end and step of the axis: a round step that leaves 4 to 10 lines."""
    low, high = (min(ends), max(ends)) if ends else (0.2, 0.3)
    spread = max(high - low, 0.002)
    power = 10.0 ** math.floor(math.log10(spread / 4))
    step = next(power * k for k in (1, 2, 5, 10) if spread / (power * k) <= 6)
    return math.floor(low / step - 0.2) * step, math.ceil(high / step + 0.2) * step, step


def _axes(field: _Field, step: float, width: float) -> list[Shape]:
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    shapes: list[Shape] = [
        Text(0, 10.8, "drag area, m\N{SUPERSCRIPT TWO}", "soft", _SMALL),
        Text(width, 10.8, "means of setups", "soft", _SMALL, anchor="end"),
        Text(field.left - 5, field.bottom + 13, "run", "soft", _SMALL, anchor="end"),
    ]
    for i in range(round((field.high - field.low) / step) + 1):
        value = field.low + i * step
        y = round(field.y(value), 3)
        shapes.append(Line(field.left, y, field.right, y, "grid"))
        shapes.append(Text(field.left - 5, y + 2.6, rounded(value, places), "soft", _SMALL, anchor="end"))
    return [*shapes, Line(field.left, field.bottom, field.right, field.bottom, "axis")]


def _run(field: _Field, run: Mapping[str, Any], place: int, looks: Mapping[str, int]) -> list[Shape]:
    x, look = round(field.x(place), 3), looks.get(run["setup"], 0)
    every = math.ceil(field.count / 40)
    shapes: list[Shape] = []
    if place % every == 0:
        shapes.append(Text(x, field.bottom + 13, str(run["number"]), "ink", _SMALL, anchor="middle"))
    if run["cda_m2"] is None:
        y, r = field.bottom - 8, 3.2
        return [*shapes, Path((((x - r, y - r), (x + r, y + r)), ((x - r, y + r), (x + r, y - r))), "cross")]
    y = round(field.y(run["cda_m2"]), 3)
    if run["u_m2"] is not None:
        reach = COVERAGE * run["u_m2"]
        shapes.append(_bar(field, x, run["cda_m2"] - reach, run["cda_m2"] + reach, look))
    return [*shapes, marker(x, y, 3.4, look)]


def _bar(field: _Field, x: float, low: float, high: float, look: int) -> Path:
    """An interval: a stroke with a short foot at each end."""
    bottom, top = round(field.y(low), 3), round(field.y(high), 3)
    feet = tuple(((x - 2.5, y), (x + 2.5, y)) for y in (bottom, top))
    return Path((((x, bottom), (x, top)), *feet), _role(look, "bar"))


def _mean(field: _Field, setup: Mapping[str, Any], look: int) -> list[Shape]:
    if setup["cda_m2"] is None:
        return []
    x, y = field.right + 12.0 + 14.0 * look, round(field.y(setup["cda_m2"]), 3)
    shapes: list[Shape] = [Line(field.left, y, x, y, _role(look, "mean"))]
    if setup["ci95_within_m2"] is not None:
        low, high = setup["ci95_within_m2"]
        shapes.append(_bar(field, x, low, high, look))
    return [*shapes, marker(x, y, 4.2, look)]


def _mean_numbers(field: _Field, setups: Sequence[Mapping[str, Any]]) -> list[Shape]:
    """The means as numbers at the right edge, each beside its sign, pushed apart where they would touch."""
    x = field.right + 12.0 + 14.0 * len(setups)
    known = sorted(
        ((field.y(s["cda_m2"]), i, s) for i, s in enumerate(setups) if s["cda_m2"] is not None), key=lambda row: row[:2]
    )
    shapes: list[Shape] = []
    floor = field.top
    room_above = [field.bottom - _ROW * (len(known) - 1 - k) for k in range(len(known))]
    for (y, look, setup), ceiling in zip(known, room_above, strict=True):
        y = round(min(max(y, floor), ceiling), 3)
        floor = y + _ROW
        shapes.append(marker(x + 2, y, 2.6, look))
        shapes.append(Text(x + 9, y + 2.8, amount(setup["cda_m2"], "m2"), "ink", _SMALL + 0.5))
    return shapes


def _key(
    setups: Sequence[Mapping[str, Any]], runs: Sequence[Mapping[str, Any]], width: float
) -> tuple[list[Shape], float]:
    """Which sign is which setup, in as many rows as it takes; and where the drawing may begin."""
    shapes: list[Shape] = []
    x, y = _KEY_LEFT, 8.0
    left_out = [run for run in runs if run["cda_m2"] is None]
    for i, label in enumerate([*(_key_label(s["label"]) for s in setups), *(["left out"] if left_out else [])]):
        text_room = _guessed_width(label, _SMALL + 0.5)
        room = 24.0 + text_room
        if x > _KEY_LEFT and x + room > width - 70:
            x, y = _KEY_LEFT, y + _KEY_ROW
        r = 2.8
        cross = Path((((x - r, y - r), (x + r, y + r)), ((x - r, y + r), (x + r, y - r))), "cross")
        shapes.append(cross if i == len(setups) else marker(x, y, 3.4, i))
        shapes.append(Text(x + 8, y + 2.8, label, "ink", _SMALL + 0.5, room=text_room + 8))
        x += room
    return shapes, y + 12.0


def _key_label(label: str) -> str:
    text = clean(label)
    return f"setup {text}" if len(text) <= 3 else text if len(text) <= 40 else f"{text[:39]}\N{HORIZONTAL ELLIPSIS}"


def _guessed_width(text: str, size: float) -> float:
    """Enough room for the text in any usual font: the browser's is not known here."""
    return sum(1.05 if unicodedata.east_asian_width(c) in "WF" else 0.62 for c in text) * size


def _in_words(result: Mapping[str, Any]) -> str:
    """The figure's numbers for those who do not see it."""
    parts = [f"{len(result['runs'])} runs in riding order."]
    for run in result["runs"]:
        name = f"Run {run['number']}, setup {clean(run['setup'])}"
        if run["cda_m2"] is None:
            parts.append(f"{name}: left out.")
            continue
        sure = "" if run["u_m2"] is None else f", standard uncertainty {amount(run['u_m2'], 'm2')}"
        parts.append(f"{name}: {amount(run['cda_m2'], 'm2')} square metres{sure}.")
    for setup in result["setups"]:
        if setup["cda_m2"] is not None:
            ends = setup["ci95_within_m2"]
            sure = "" if ends is None else f", 95 % interval {amount(ends[0], 'm2')} to {amount(ends[1], 'm2')}"
            mean = amount(setup["cda_m2"], "m2")
            parts.append(f"Mean of setup {clean(setup['label'])}: {mean} square metres{sure}.")
    return " ".join(parts)

"""The primitives that figures and pages are made of, and the roles that give them colour and weight.

Nothing here knows of a page, a browser or a fact. Lengths are points with y downwards, as in SVG; `svg.py` and
`canvas.py` write the same shapes. A shape says its role, never its colour, so that pages can follow a dark screen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True)
class Line:
    x1: float
    y1: float
    x2: float
    y2: float
    role: str


@dataclass(frozen=True, slots=True)
class Circle:
    cx: float
    cy: float
    r: float
    role: str


@dataclass(frozen=True, slots=True)
class Polygon:
    """Closed and filled."""

    points: tuple[Point, ...]
    role: str


@dataclass(frozen=True, slots=True)
class Path:
    """Open strokes: each a chain of points."""

    strokes: tuple[tuple[Point, ...], ...]
    role: str


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text; `y` is the base line. `room` is the width it must not pass, where fonts are known."""

    x: float
    y: float
    text: str
    role: str
    size: float
    anchor: Anchor = "start"
    bold: bool = False
    room: float | None = None


Shape = Line | Circle | Polygon | Path | Text


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawing with its numbers in words for those who do not see it."""

    width: float
    height: float
    title: str
    description: str
    shapes: tuple[Shape, ...]


@dataclass(frozen=True, slots=True)
class Role:
    """How a role looks on white paper. On a dark screen a style sheet overrides the class `f-<name>`."""

    fill: str | None = None
    stroke: str | None = None
    width: float = 0.0
    dash: tuple[float, ...] = ()


INK, SOFT, FAINT, WASH = "#1d2433", "#5a6475", "#c9ced8", "#eef1f5"

# Told apart in grey print and with any colour vision: lightness falls from one to the next, and each setup
# has its own marker shape, so colour carries nothing alone.
SETUP_COLOURS = ("#1f4e8c", "#b4561a", "#1b7a68", "#7a3b86", "#6b6100", "#4a4f5a")

ROLES: dict[str, Role] = {
    "ink": Role(fill=INK),
    "soft": Role(fill=SOFT),
    "rule": Role(stroke=SOFT, width=0.6),
    "grid": Role(stroke=FAINT, width=0.5),
    "axis": Role(stroke=SOFT, width=0.7),
    "wash": Role(fill=WASH),
    "cross": Role(stroke=SOFT, width=1.0),
    **{f"s{i}": Role(fill=colour) for i, colour in enumerate(SETUP_COLOURS)},
    **{f"s{i}-bar": Role(stroke=colour, width=1.1) for i, colour in enumerate(SETUP_COLOURS)},
    **{f"s{i}-mean": Role(stroke=colour, width=0.9, dash=(5, 3)) for i, colour in enumerate(SETUP_COLOURS)},
}

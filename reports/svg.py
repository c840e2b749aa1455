"""Figures as SVG for pages: presentation attributes and classes only, so that a strict content policy lets them be.

A style sheet may override every colour by the class `f-<role>` (a dark screen does); without one the figure is
readable on white. The PDF is `canvas.py`'s.
"""

from __future__ import annotations

from xml.sax.saxutils import escape, quoteattr

from reports.scripts import clean
from reports.shapes import ROLES, Circle, Figure, Line, Path, Point, Polygon, Shape, Text


def write_svg(figure: Figure) -> str:
    """The figure as one `svg` element, its title and its numbers in words inside it. Safe as markup."""
    body = "".join(_element(shape) for shape in figure.shapes)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" class="figure" '
        f'viewBox="0 0 {_n(figure.width)} {_n(figure.height)}">'
        f"<title>{escape(clean(figure.title))}</title><desc>{escape(clean(figure.description))}</desc>{body}</svg>"
    )


def _element(shape: Shape) -> str:
    look = _look(shape.role)
    match shape:
        case Line():
            return f'<line x1="{_n(shape.x1)}" y1="{_n(shape.y1)}" x2="{_n(shape.x2)}" y2="{_n(shape.y2)}" {look}/>'
        case Circle():
            return f'<circle cx="{_n(shape.cx)}" cy="{_n(shape.cy)}" r="{_n(shape.r)}" {look}/>'
        case Polygon():
            return f'<polygon points="{" ".join(_pair(p) for p in shape.points)}" {look}/>'
        case Path():
            steps = " ".join("M" + " L".join(_pair(p) for p in stroke) for stroke in shape.strokes)
            return f'<path d="{steps}" {look}/>'
        case Text():
            weight = ' font-weight="700"' if shape.bold else ""
            return (
                f'<text x="{_n(shape.x)}" y="{_n(shape.y)}" font-size="{_n(shape.size)}" text-anchor="{shape.anchor}"'
                f"{weight} {look}>{escape(clean(shape.text))}</text>"
            )


def _look(name: str) -> str:
    role = ROLES[name]
    parts = [f"class={quoteattr('f-' + name)}", f'fill="{role.fill or "none"}"']
    if role.stroke:
        parts += [f'stroke="{role.stroke}"', f'stroke-width="{_n(role.width)}"']
    if role.dash:
        parts.append(f'stroke-dasharray="{" ".join(_n(d) for d in role.dash)}"')
    return " ".join(parts)


def _pair(point: Point) -> str:
    return f"{_n(point[0])},{_n(point[1])}"


def _n(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")

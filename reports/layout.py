"""Pages made of strips: how lines, tables, columns and figures flow down a page and onto the next.

Nothing here knows what a report says (`sections.py`); the result is shapes, which `canvas.py` draws.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from reports.lines import wrap
from reports.shapes import Circle, Figure, Line, Path, Polygon, Shape, Text

PAGE_WIDTH, PAGE_HEIGHT = 595.28, 841.89  # A4, ISO 216, in points
LEFT = 44.0
WIDTH = PAGE_WIDTH - 2 * LEFT
TOP, BOTTOM = 47.0, PAGE_HEIGHT - 36.0
BODY, SMALL = 8.5, 7.2
LEADING = 1.31


@dataclass(frozen=True, slots=True)
class Strip:
    """What may not be parted: shapes measured from its own upper left corner."""

    height: float
    shapes: tuple[Shape, ...]


@dataclass(slots=True)
class Page:
    shapes: list[Shape] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Bookmark:
    title: str
    page: int
    y: float


def moved(shape: Shape, dx: float, dy: float) -> Shape:
    """The same shape elsewhere."""
    match shape:
        case Line():
            return replace(shape, x1=shape.x1 + dx, x2=shape.x2 + dx, y1=shape.y1 + dy, y2=shape.y2 + dy)
        case Circle():
            return replace(shape, cx=shape.cx + dx, cy=shape.cy + dy)
        case Polygon():
            return replace(shape, points=tuple((x + dx, y + dy) for x, y in shape.points))
        case Path():
            return replace(shape, strokes=tuple(tuple((x + dx, y + dy) for x, y in s) for s in shape.strokes))
        case Text():
            return replace(shape, x=shape.x + dx, y=shape.y + dy)


def paragraph(
    text: str, room: float, *, size: float = BODY, bold: bool = False, role: str = "ink", after: float = 3.0
) -> list[Strip]:
    """The text as one strip a line; `after` is the white below the last."""
    lines = wrap(text, size, room, bold=bold)
    step = size * LEADING
    return [
        Strip(step + (after if i == len(lines) - 1 else 0), (Text(0, size * 1.05, line, role, size, bold=bold),))
        for i, line in enumerate(lines)
    ]


def stacked(strips: Iterable[Strip]) -> Strip:
    """Several strips as one that may not be parted."""
    shapes: list[Shape] = []
    y = 0.0
    for strip in strips:
        shapes += (moved(shape, 0, y) for shape in strip.shapes)
        y += strip.height
    return Strip(y, tuple(shapes))


def beside(strips: Sequence[tuple[float, Strip]], *, above: float = 0.0, below: float = 0.0) -> Strip:
    """Strips side by side at the given x, as one."""
    shapes = [moved(shape, x, above) for x, strip in strips for shape in strip.shapes]
    return Strip(max(strip.height for _, strip in strips) + above + below, tuple(shapes))


def table(head: Sequence[str], rows: Iterable[Sequence[str]], widths: Sequence[float]) -> list[Strip]:
    """A head in small bold, a hair line, then a strip for every row; the first column is soft."""
    starts = [sum(widths[:i]) for i in range(len(widths))]

    def row(cells: Sequence[str], *, bold: bool, size: float) -> Strip:
        made = [
            (x, stacked(paragraph(cell, room - 8, size=size, bold=bold, role="ink" if i or bold else "soft", after=0)))
            for i, (x, room, cell) in enumerate(zip(starts, widths, cells, strict=True))
        ]
        return beside(made, above=1.2, below=1.2)

    top = row(head, bold=True, size=BODY)
    ruled = Strip(top.height + 1.5, (*top.shapes, Line(0, top.height, sum(widths), top.height, "rule")))
    return [ruled, *(row(cells, bold=False, size=BODY) for cells in rows)]


def pairs(rows: Iterable[tuple[str, str]], room: float, *, name_room: float = 62.0) -> list[Strip]:
    """Name and fact, one pair a strip."""
    return [
        beside(
            [
                (0, stacked(paragraph(name, name_room - 6, size=SMALL + 0.4, role="soft", after=1))),
                (name_room, stacked(paragraph(fact, room - name_room, size=SMALL + 0.4, after=1))),
            ]
        )
        for name, fact in rows
    ]


class Sheet:
    """The pages so far and how far down the last one is filled."""

    def __init__(self) -> None:
        self.pages = [Page()]
        self.bookmarks: list[Bookmark] = []
        self.y = TOP

    def place(self, strips: Iterable[Strip], *, x: float = LEFT) -> None:
        """Put strips one below the other; what does not fit goes on to the next page."""
        for strip in strips:
            self.need(strip.height)
            self.pages[-1].shapes += (moved(shape, x, self.y) for shape in strip.shapes)
            self.y += strip.height

    def need(self, height: float) -> None:
        """Turn the page unless so much is still free."""
        if self.y + height > BOTTOM and self.y > TOP:
            self.pages.append(Page())
            self.y = TOP

    def bookmark(self, title: str) -> None:
        """Name this place for the file's own table of contents."""
        self.bookmarks.append(Bookmark(title, len(self.pages) - 1, self.y))

    def heading(self, title: str, *, following: Sequence[Strip]) -> None:
        """A heading that stays with the first strip after it, and a bookmark."""
        made = paragraph(title, WIDTH, size=9.6, bold=True, after=2.5)
        self.space(5)
        self.need(sum(s.height for s in made) + (following[0].height if following else 0))
        self.bookmark(title)
        self.place(made)

    def section(self, title: str, strips: Sequence[Strip]) -> None:
        self.heading(title, following=strips)
        self.place(strips)

    def space(self, height: float) -> None:
        self.y = min(self.y + height, BOTTOM)

    def columns(self, left: Sequence[Strip], right: Sequence[Strip], *, second: float) -> None:
        """Two columns that begin together; each goes on by itself on the next page."""
        rest = [(LEFT, list(left)), (LEFT + second, list(right))]
        while any(strips for _, strips in rest):
            begin, deepest = self.y, self.y
            for x, strips in rest:
                self.y = begin
                while strips and (self.y + strips[0].height <= BOTTOM or self.y == TOP):
                    self.place([strips.pop(0)], x=x)
                deepest = max(deepest, self.y)
            self.y = deepest
            if any(strips for _, strips in rest):
                self.pages.append(Page())
                self.y = TOP


def figure_strip(figure: Figure) -> Strip:
    return Strip(figure.height, figure.shapes)

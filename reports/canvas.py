"""Shapes on a PDF page: the other writer beside `svg.py`. Text goes through the font fallback piece by piece."""

from __future__ import annotations

from collections.abc import Iterable

from reportlab.lib.colors import HexColor
from reportlab.pdfgen.canvas import Canvas

from reports import fonts
from reports.lines import shortened, width
from reports.scripts import clean, in_reading_order
from reports.shapes import ROLES, Circle, Line, Path, Point, Polygon, Shape, Text


def draw(canvas: Canvas, shapes: Iterable[Shape], *, left: float, top: float) -> None:
    """Draw shapes whose y runs downwards from `top`, whose x runs right from `left` (both in page points)."""
    for shape in shapes:
        _Pen(canvas, left, top).draw(shape)


class _Pen:
    def __init__(self, canvas: Canvas, left: float, top: float) -> None:
        self.canvas, self.left, self.top = canvas, left, top

    def draw(self, shape: Shape) -> None:
        self._take(shape.role)
        match shape:
            case Line():
                self._strokes([((shape.x1, shape.y1), (shape.x2, shape.y2))])
            case Circle():
                x, y = self._at((shape.cx, shape.cy))
                self.canvas.circle(x, y, shape.r, stroke=0, fill=1)
            case Polygon():
                self._area(shape.points)
            case Path():
                self._strokes(shape.strokes)
            case Text():
                self._text(shape)

    def _take(self, name: str) -> None:
        role = ROLES[name]
        if role.fill:
            self.canvas.setFillColor(HexColor(role.fill))
        if role.stroke:
            self.canvas.setStrokeColor(HexColor(role.stroke))
            self.canvas.setLineWidth(role.width)
            self.canvas.setDash(list(role.dash))

    def _at(self, point: Point) -> Point:
        return self.left + point[0], self.top - point[1]

    def _strokes(self, strokes: Iterable[tuple[Point, ...]]) -> None:
        path = self.canvas.beginPath()
        for first, *rest in strokes:
            path.moveTo(*self._at(first))
            for point in rest:
                path.lineTo(*self._at(point))
        self.canvas.drawPath(path, stroke=1, fill=0)

    def _area(self, points: tuple[Point, ...]) -> None:
        path = self.canvas.beginPath()
        path.moveTo(*self._at(points[0]))
        for point in points[1:]:
            path.lineTo(*self._at(point))
        path.close()
        self.canvas.drawPath(path, stroke=0, fill=1)

    def _text(self, shape: Text) -> None:
        line = clean(shape.text)
        if shape.room is not None:
            line = shortened(line, shape.size, shape.room, bold=shape.bold)
        room = width(line, shape.size, bold=shape.bold)
        x, y = self._at((shape.x - {"start": 0.0, "middle": room / 2, "end": room}[shape.anchor], shape.y))
        text = self.canvas.beginText(x, y)
        for name, piece in fonts.pieces(in_reading_order(line), bold=shape.bold):
            text.setFont(name, shape.size)
            text.textOut(piece)
        self.canvas.drawText(text)

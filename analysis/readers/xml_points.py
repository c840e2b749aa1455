"""TCX and GPX to tables: every leaf of every point by its local name, under caps. What they mean is `xml_reader.py`.

The parser is defusedxml's; it hands its events to a target here instead of building a tree: nothing to clear, and a
document cannot grow in memory. Type definitions and entities are refused. Prefixes are any program's choice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import NoReturn, Protocol

import numpy as np
from numpy.typing import NDArray

from analysis.core.types import Array
from analysis.readers.clock import Clock
from analysis.readers.faults import Fault, Refused, shown
from analysis.readers.limits import MIB, Limits
from analysis.readers.numbers import MOST_FAULTS, Numbers
from analysis.readers.times import Micros

Places = NDArray[np.intp]
BLOCK = 512
MOST_DEPTH = 50
MOST_FIELDS = 200
MOST_TEXT = 1000  # characters of one leaf that are kept: no number and no time is longer
MOST_LAPS = 10_000
TOKEN_BYTES = MIB  # one tag or comment; also how much is fed at once
WRAPPED = "Value"  # TCX: <HeartRateBpm><Value>140</Value></HeartRateBpm>


@dataclass(frozen=True, slots=True)
class Dialect:
    """What the elements of one schema are called."""

    point: str
    time: str
    lap: str  # laps, or what stands for them
    lap_start: str = ""  # attribute
    point_attributes: tuple[str, ...] = ()


DIALECTS = {
    "TrainingCenterDatabase": Dialect("Trackpoint", "Time", "Lap", "StartTime"),
    "gpx": Dialect("trkpt", "time", "trkseg", point_attributes=("lat", "lon")),
}
CREATOR = "Creator"  # TCX: the device, beside its laps; its version stands one deeper


class _Place(Protocol):
    """Where the parser is."""

    CurrentLineNumber: int
    CurrentByteIndex: int


@dataclass
class Points:
    """What one file holds."""

    file: str
    limits: Limits
    clock: Clock
    root: str = ""
    dialect: Dialect = DIALECTS["gpx"]
    attributes: Mapping[str, str] = field(default_factory=dict)  # of the root
    creator: dict[str, str] = field(default_factory=dict)
    count: int = 0
    lines: list[int] = field(default_factory=list)
    stamps: list[tuple[Places, Micros]] = field(default_factory=list)
    columns: dict[str, list[tuple[Places, Array]]] = field(default_factory=dict)
    numbers: dict[str, Numbers] = field(default_factory=dict)
    laps: list[tuple[int, str, int]] = field(default_factory=list)  # first point, start if written, line
    damage: str = ""

    def column(self, name: str) -> Array:
        """Give a field over all points; NaN where a point lacks it."""
        values = np.full(self.count, np.nan)
        for places, part in self.columns[name]:
            values[places] = part
        return values

    def times(self) -> tuple[Places, Micros]:
        """Which points have a time, and the times."""
        if not self.stamps:
            return np.array([], dtype=np.intp), np.array([], dtype=np.int64)
        return np.concatenate([places for places, _ in self.stamps]), np.concatenate([part for _, part in self.stamps])


def read_points(file: str, data: bytes, *, clock: Clock, limits: Limits) -> Points:
    """Read a document as far as it is sound; `damage` says where it broke. Raises `Refused`."""
    # The allowed import inside a function: a format's own library, on first use.
    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import DefusedXMLParser, ParseError

    points = Points(file, limits, clock)
    target = _Target(points)
    parser = DefusedXMLParser(target=target, forbid_dtd=True)
    target.place = parser.parser
    try:
        for at in range(0, len(data), TOKEN_BYTES):
            parser.feed(data[at : at + TOKEN_BYTES])
            if at + TOKEN_BYTES - target.place.CurrentByteIndex > 2 * TOKEN_BYTES:
                raise Refused([Fault(file, "file", "one tag of more than 1 MiB", "a TCX or GPX file")])
        parser.close()
    except DefusedXmlException:
        line = target.place.CurrentLineNumber
        given = "a document type or entities, which can hide anything"
        raise Refused([Fault(file, "file", given, "a TCX or GPX file without them", line)]) from None
    except (ParseError, ValueError, LookupError) as error:  # the last two: encodings the parser does not have
        points.damage = str(error)
    except MemoryError:
        raise Refused([Fault(file, "file", "more than fits into memory", "a smaller file")]) from None
    target.flush()
    return points


class _Target:
    """Takes the parser's events. Between two calls only one block of points is held as text."""

    def __init__(self, points: Points) -> None:
        self.points = points
        self.place: _Place
        self.local: dict[str, str] = {}  # tag -> local name
        self.path: list[str] = []
        self.text = ""
        self.inside = False  # a point
        self.texts: dict[str, list[str]] = {}
        self.places: dict[str, list[int]] = {}
        self.starts: dict[str, Callable[[dict[str, str]], None]] = {}
        self.point = ""

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        name = self.local.get(tag) or self._named(tag)
        if not self.path:
            self._root(name, attributes)
        elif len(self.path) == MOST_DEPTH:
            self._refuse(f"elements nested deeper than {MOST_DEPTH}")
        self.path.append(name)
        self.text = ""
        if name in self.starts:
            self.starts[name](attributes)

    def data(self, text: str) -> None:
        if len(self.text) < MOST_TEXT:
            self.text += text[:MOST_TEXT]

    def end(self, tag: str) -> None:
        name = self.path.pop()
        text, self.text = self.text, ""
        if self.inside:
            if name == self.point:
                self._end_point()
            elif text and not text.isspace():
                self._leaf(self.path[-1] if name == WRAPPED else name, text)
        elif text and CREATOR in self.path[-2:]:
            self.points.creator.setdefault(name, text.strip()[:200])

    def close(self) -> None:
        """Nothing to give back: the points have it."""

    def flush(self) -> None:
        """Turn the block's texts into numbers."""
        points = self.points
        for name, texts in self.texts.items():
            at = self.places[name]
            if at[-1] == points.count:  # of a point that was never closed
                at.pop()
                texts.pop()
            if at:
                self._numbers(name, texts, np.array(at, dtype=np.intp), [points.lines[place] for place in at])
        self.texts.clear()
        self.places.clear()

    def _numbers(self, name: str, texts: list[str], places: Places, lines: list[int]) -> None:
        points = self.points
        if name == points.dialect.time:
            points.stamps.append((places, points.clock.column(texts, lines)))
            return
        numbers = points.numbers.setdefault(name, Numbers(points.file, decimal=".", plain=True))
        parts = points.columns.setdefault(name, [])
        if len(numbers.faults) < MOST_FAULTS:  # else a text, which nobody asks for
            joined = "".join(texts)
            numbers.plain = joined.isascii() and "_" not in joined
            parts.append((places, numbers.column(name, texts, lines)))

    def _named(self, tag: str) -> str:
        if len(self.local) >= 10 * MOST_FIELDS:
            self._refuse(f"more than {10 * MOST_FIELDS} kinds of elements")
        name = self.local[tag] = tag.rpartition("}")[2]
        return name

    def _root(self, name: str, attributes: dict[str, str]) -> None:
        if name not in DIALECTS:
            self._refuse(f"an XML document of another kind (its root is {shown(name)})")
        points = self.points
        points.root, points.dialect, points.attributes = name, DIALECTS[name], attributes
        self.point = points.dialect.point
        self.starts = {self.point: self._start_point, points.dialect.lap: self._start_lap}

    def _start_point(self, attributes: dict[str, str]) -> None:
        self.inside = True
        if self.points.count == self.points.limits.max_samples:
            most = self.points.limits.max_samples
            raise Refused([Fault(self.points.file, "samples", f"more than {most} samples", f"at most {most}")])
        for name in self.points.dialect.point_attributes:
            if name in attributes:
                self._leaf(name, attributes[name][:MOST_TEXT])

    def _start_lap(self, attributes: dict[str, str]) -> None:
        start = attributes.get(self.points.dialect.lap_start, "")
        if len(self.points.laps) == MOST_LAPS:
            self._refuse(f"more than {MOST_LAPS} laps")
        self.points.laps.append((self.points.count, start, self.place.CurrentLineNumber))

    def _leaf(self, name: str, text: str) -> None:
        texts = self.texts.get(name)
        if texts is None:
            if len(self.texts) >= MOST_FIELDS or len(self.points.columns) >= MOST_FIELDS:
                self._refuse(f"more than {MOST_FIELDS} fields")
            texts = self.texts[name] = []
            self.places[name] = []
        places = self.places[name]
        if not places or places[-1] != self.points.count:  # of two leaves of one name in one point the first stays
            texts.append(text)
            places.append(self.points.count)

    def _end_point(self) -> None:
        points = self.points
        self.inside = False
        points.lines.append(self.place.CurrentLineNumber)
        points.count += 1
        if points.count % BLOCK == 0:
            self.flush()

    def _refuse(self, given: str) -> NoReturn:
        raise Refused([Fault(self.points.file, "file", given, "a TCX or GPX file", self.place.CurrentLineNumber)])

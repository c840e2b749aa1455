"""CSV recordings: rows to columns, time in order, everything wrong with its line.

How the file is written is `csv_layout.py`, numbers are `numbers.py`, times `times.py`, names `mapping.py`.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import islice
from typing import Any

import numpy as np

from analysis.core.types import Array, Warning
from analysis.readers.channels import TIME
from analysis.readers.clock import Clock
from analysis.readers.csv_layout import Layout, lines_of, refuse_binary, sniff
from analysis.readers.faults import Fault, Refused, shown
from analysis.readers.laps import laps_counted
from analysis.readers.limits import Limits
from analysis.readers.mapping import Target
from analysis.readers.mapping_document import Own
from analysis.readers.numbers import MOST_FAULTS, NUMBER, Numbers
from analysis.readers.order import in_order
from analysis.readers.plausible import keep_plausible
from analysis.readers.samples import Recording, note
from analysis.readers.thousands import Thousands
from analysis.readers.times import TIME_ALLOWED, Micros, moment_of

BLOCK = 512  # rows: their texts stay in the processor's cache, and a million rows never stand in memory
UNIX_S = 1e9  # seconds beyond this (2001) count from 1970; no ride lasts that long


def read_csv(name: str, data: bytes, *, mapping: Own, zone: str | None, limits: Limits) -> Recording:
    """Read a CSV recording, or refuse it with every fault found."""
    refuse_binary(name, data)
    layout = sniff(name, data, mapping)
    table = _Table(name, layout, Clock(name, zone), limits)
    table.read(data)
    return table.recording()


@dataclass
class _Table:
    """What has been read so far, block by block."""

    name: str
    layout: Layout
    times_of_day: Clock
    limits: Limits
    times: list[Micros] = field(default_factory=list)
    lines: list[Micros] = field(default_factory=list)
    blocks: dict[str, list[Array]] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    notes: list[Warning] = field(default_factory=list)
    clock: bool | None = None  # True: clock times; False: seconds
    count: int = 0
    numbers: Numbers = field(init=False)
    thousands: Thousands = field(init=False)

    def __post_init__(self) -> None:
        self.numbers = Numbers(self.name, decimal=self.layout.decimal, plain=self.layout.plain)
        self.thousands = Thousands(self.name, needed=self.layout.delimiter == self.layout.decimal == ",")

    def read(self, data: bytes) -> None:
        """Read all blocks; raises with every fault found."""
        time = next(index for index, target in self.layout.targets.items() if target.channel == TIME)
        cut = 0 if data.endswith((b"\n", b"\r")) else data.count(b"\n" if b"\n" in data else b"\r") + 1
        for lines, rows in self._blocks(data):
            try:
                columns = list(zip(*rows, strict=True))
                if len(columns) != len(self.layout.header) or "" in columns[time]:
                    raise ValueError
            except ValueError:
                lines, rows = self._mend(lines, rows, cut)
                columns = list(zip(*rows, strict=True))
            if rows:
                self._take(columns, lines)
            if len(self.faults) + len(self.times_of_day.faults) + len(self.numbers.faults) >= MOST_FAULTS:
                break
        self.faults += [*self.times_of_day.faults, *self.thousands.faults(), *self.numbers.faults]
        if not self.faults and not self.count:
            self.faults.append(Fault(self.name, "samples", "a header and no sample", "at least one sample"))
        if self.faults:
            raise Refused(self.faults)

    def _blocks(self, data: bytes) -> Iterator[tuple[Micros, list[list[str]]]]:
        text = lines_of(data)
        for _ in range(self.layout.skipped):
            text.readline()
        reader = csv.reader(text, delimiter=self.layout.delimiter, skipinitialspace=True)
        while True:
            first = self.layout.skipped + reader.line_num + 1
            try:
                rows = list(islice(reader, BLOCK))
            except csv.Error as error:
                line = self.layout.skipped + reader.line_num
                raise Refused([Fault(self.name, "line", str(error), "cells of a CSV text", line)]) from None
            if not rows:
                return
            last = self.layout.skipped + reader.line_num
            if last - first + 1 != len(rows):
                broken = (at for at, row in enumerate(rows) if any("\n" in cell or "\r" in cell for cell in row))
                at = next(broken, 0)
                raise Refused(
                    [Fault(self.name, "line", "quoted text over several lines", "one sample a line", first + at)]
                )
            lines = np.arange(first, last + 1)
            if not all(rows):
                lines = lines[np.fromiter(map(bool, rows), bool, len(rows))]
                rows = [row for row in rows if row]
            if rows:
                yield lines, rows

    def _mend(self, lines: Micros, rows: list[list[str]], cut: int) -> tuple[Micros, list[list[str]]]:
        """Bring rows to the header's length: empty cells and rows go, the line `cut` off at the file's end goes."""
        width = len(self.layout.header)
        kept = []
        for at, row in enumerate(rows):
            if len(row) > width and not any(cell.strip() for cell in row[width:]):
                row = row[:width]
            if not any(cell.strip() for cell in row):
                continue
            if len(row) == width:
                kept.append((lines[at], row))
            elif len(row) < width and lines[at] == cut:
                what = f"{self.name}: the last line (line {lines[at]}) is cut off and was left out."
                self.notes.append(note("file_damaged", what, "Copy the file again if the run's end matters."))
            elif len(self.faults) < MOST_FAULTS:
                allowed = f"{width} cells as in the header"
                self.faults.append(Fault(self.name, "line", f"{len(row)} cells", allowed, int(lines[at])))
        return np.array([line for line, _ in kept], dtype=np.int64), [row for _, row in kept]

    def _take(self, columns: Sequence[Sequence[str]], lines: Micros) -> None:
        self.count += len(lines)
        if self.count > self.limits.max_samples:
            given = f"more than {self.limits.max_samples} samples"
            raise Refused([Fault(self.name, "samples", given, f"at most {self.limits.max_samples}")])
        numbered = lines.tolist()
        for index, target in self.layout.targets.items():
            if target.channel == TIME:
                self.times.append(self._time(columns[index], numbered, target))
                continue
            self.thousands.look(self.layout.header[index], target, columns[index], numbered)
            values = self.numbers.column(self.layout.header[index], columns[index], numbered)
            if target.scale != 1.0 or target.offset != 0.0:
                values = values * target.scale + target.offset
            self.blocks.setdefault(target.channel, []).append(values)
        self.lines.append(lines)

    def _time(self, cells: Sequence[str], lines: Sequence[int], target: Target) -> Micros:
        if self.clock is None:
            self.clock = not NUMBER.fullmatch(cells[0].strip())
        if not self.clock:
            seconds = self.numbers.column(TIME, cells, lines) * target.scale + target.offset
            sound = np.abs(seconds) < 1e10
            for at in np.flatnonzero(~sound)[: MOST_FAULTS - len(self.faults)]:
                self.faults.append(Fault(self.name, TIME, shown(cells[at]), TIME_ALLOWED, lines[at]))
            return np.rint(np.where(sound, seconds, 0.0) * 1e6).astype(np.int64)
        return self.times_of_day.column(cells, lines)

    def recording(self) -> Recording:
        """Put the blocks together, check the order of time and the ranges, and say what was found."""
        stamps, lines = np.concatenate(self.times), np.concatenate(self.lines)
        columns = {channel: np.concatenate(parts) for channel, parts in self.blocks.items()}
        kept = self._in_order(stamps, lines)
        stamps, columns = stamps[kept], {channel: values[kept] for channel, values in columns.items()}
        columns, faults, notes = keep_plausible(self.name, columns, lines[kept])
        if faults:
            raise Refused(faults)
        start = self._start(stamps)
        time_s = (stamps - stamps[0] if start else stamps) / 1e6
        for key, count in self.numbers.gaps.items():
            what = f"{self.name}: {count} values of {key} are no finite number and are left as gaps."
            self.notes.append(note("gaps", what, "Look at the sensor if the run matters."))
        self._note_unread()
        found = (*self.notes, *notes)
        return Recording("csv", start, time_s, columns, self._device(), laps_counted(time_s, columns), notes=found)

    def _in_order(self, stamps: Micros, lines: Micros) -> slice | Micros:
        """Which samples are kept: all, or the first of each time; time that goes back is refused."""
        steps = np.diff(stamps)
        back = np.flatnonzero(steps < 0)[:MOST_FAULTS]
        if back.size:
            given = [f"a time {-steps[at] / 1e6:g} s before the line above" for at in back]
            later = [int(lines[at + 1]) for at in back]
            raise Refused(
                Fault(self.name, TIME, text, "times that go on", line) for text, line in zip(given, later, strict=True)
            )
        if (steps > 0).all():
            return slice(None)
        kept, notes = in_order(self.name, stamps, lines=lines)
        self.notes += notes
        return kept

    def _start(self, stamps: Micros) -> datetime | None:
        self.notes += self.times_of_day.notes()
        if not self.clock and stamps[0] >= UNIX_S * 1e6:
            what = f"{self.name}: times are large numbers; they were read as seconds since 1970 UTC."
            self.notes.append(note("zone_assumed", what, "Export times as ISO 8601 with zone if that is wrong."))
            return moment_of(int(stamps[0]))
        return moment_of(int(stamps[0])) if self.clock else None

    def _device(self) -> dict[str, Any]:
        """A text says nothing of its device but by the columns it has."""
        header, targets = self.layout.header, self.layout.targets
        return {
            "columns": header,
            "fields": {header[index]: target.channel for index, target in sorted(targets.items())},
            "unread_fields": [name for at, name in enumerate(header) if at not in targets and name.strip()],
        }

    def _note_unread(self) -> None:
        unread = self._device()["unread_fields"]
        if unread:
            what = f"{self.name}: columns that were not read: {shown(', '.join(unread))}."
            do = "Name them as channels with a unit, or map them, if they are wanted."
            self.notes.append(note("unknown_key", what, do))

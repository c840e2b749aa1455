"""Cells of a time column to microseconds since 1970 UTC: what is no time is a fault, a missing zone is remembered."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo

import numpy as np

from analysis.core.types import Warning
from analysis.readers.channels import TIME
from analysis.readers.faults import Fault, Refused, shown
from analysis.readers.numbers import MOST_FAULTS
from analysis.readers.samples import note
from analysis.readers.times import TIME_ALLOWED, Micros, known_zone, micros, parse_column, parse_time


class Clock:
    """Reads the clock times of one file; times without a zone are taken to be in `zone`."""

    def __init__(self, file: str, zone: str | None) -> None:
        known = known_zone(zone or "UTC")
        if known is None:
            raise Refused([Fault(file, "zone", shown(zone), "an IANA time zone such as Atlantic/Azores")])
        self.file = file
        self.zone: tzinfo = known
        self.zone_name = zone or "UTC"
        self.zone_assumed = False
        self.faults: list[Fault] = []

    def column(self, cells: Sequence[str], lines: Sequence[int]) -> Micros:
        """Read a block of cells; what is no time is 0 and a fault."""
        fast = parse_column(cells, self.zone)
        if fast is not None:
            self.zone_assumed |= fast[1]
            return fast[0]
        return np.array([self._moment(cell, line) for cell, line in zip(cells, lines, strict=True)], dtype=np.int64)

    def _moment(self, cell: str, line: int) -> int:
        try:
            moment, assumed = parse_time(cell, self.zone)
        except (ValueError, OverflowError):
            if len(self.faults) < MOST_FAULTS:
                self.faults.append(Fault(self.file, TIME, shown(cell), TIME_ALLOWED, line))
            return 0
        self.zone_assumed |= assumed
        return micros(moment)

    def notes(self) -> list[Warning]:
        """Say that a zone was assumed, where it was."""
        if not self.zone_assumed:
            return []
        what = f"{self.file}: times have no zone; {self.zone_name} was assumed."
        return [note("zone_assumed", what, "Correct the session's time zone if that is wrong.")]

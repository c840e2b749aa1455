"""Cells to numbers: decimal points and commas, gaps, and what is no number. One instance reads one file."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence

import numpy as np

from analysis.core.arrays import Array
from analysis.readers.faults import Fault, shown

NUMBER = re.compile(r"[+-]?(\d+[.,]?\d*|[.,]\d+)([eE][+-]?\d+)?", re.ASCII)
NO_NUMBER = {"nan", "+nan", "-nan", "inf", "+inf", "-inf", "infinity", "+infinity", "-infinity"}
GAP_WORDS = {"-", "--", "na", "n/a", "none", "null"}
MOST_FAULTS = 20


class Numbers:
    """Turns columns of text into float64 and remembers what it met on the way."""

    def __init__(self, file: str, *, decimal: str | None, plain: bool) -> None:
        self.file = file
        self.decimal = decimal  # the file's one decimal sign, None until a cell shows it
        self.plain = plain  # float() takes nothing in this file that is no number
        self.gaps: Counter[str] = Counter()  # texts like NaN by channel
        self.faults: list[Fault] = []

    def column(self, key: str, cells: Sequence[str], lines: Sequence[int]) -> Array:
        """Read one column of a block; `lines` are the cells' line numbers in the file."""
        values = self._fast(cells) if self.plain else None
        if values is None:
            values = np.array([self._cell(key, cell, line) for cell, line in zip(cells, lines, strict=True)])
        return values

    def _fast(self, cells: Sequence[str]) -> Array | None:
        """Read a column of plain numbers and empty cells; None where anything else is in it."""
        if self.decimal == ",":
            cells = [cell.replace(",", ".") for cell in cells]
        count = finite = len(cells)
        try:
            values = np.fromiter(map(float, cells), np.float64, count)
        except ValueError:
            try:
                values = np.fromiter((float(cell) if cell else math.nan for cell in cells), np.float64, count)
            except ValueError:
                return None
            finite = sum(map(bool, cells))
        return values if np.count_nonzero(np.isfinite(values)) == finite else None

    def _cell(self, key: str, cell: str, line: int) -> float:
        text = cell.strip()
        if not text:
            return math.nan
        if text.casefold() in NO_NUMBER or text.casefold() in GAP_WORDS:
            self.gaps[key] += 1
            return math.nan
        sign = "," if "," in text else "." if "." in text else None
        if NUMBER.fullmatch(text) and (sign is None or self.decimal in (None, sign)):
            self.decimal = self.decimal or sign
            value = float(text.replace(",", "."))
            if math.isfinite(value):
                return value
        if len(self.faults) < MOST_FAULTS:
            allowed = "a number" if self.decimal is None else f"a number with decimal sign '{self.decimal}'"
            self.faults.append(Fault(self.file, key, shown(cell), f"{allowed}, or nothing for a gap", line))
        return math.nan

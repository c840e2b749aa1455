"""Commas between thousands told from decimal commas, where a file separates its cells by commas too.

`"1,034"` may be 1034 or 1.034. One number that cannot have thousands (`"10,5"`, or a speed of `"10,512"`, which is no
speed of 10512 m/s) settles it for the file; a file where nothing does is refused rather than read a thousandfold wrong.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from analysis.readers.channels import CHANNELS
from analysis.readers.faults import Fault, shown
from analysis.readers.mapping import Target
from analysis.readers.numbers import MOST_FAULTS, NUMBER

GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}(?:,\d{3})+", re.ASCII)
ALLOWED = "numbers without a sign between thousands; decimals with a point, or semicolons between the cells"


class Thousands:
    """Looks at a file's quoted numbers block by block until the meaning of its commas is settled."""

    def __init__(self, file: str, *, needed: bool) -> None:
        self.file = file
        self.needed = needed
        self.doubtful: dict[str, Fault] = {}  # by column

    def look(self, key: str, target: Target, cells: Sequence[str], lines: Sequence[int]) -> None:
        """Look at a block of one column."""
        if not self.needed:
            return
        channel = CHANNELS[target.channel]
        for cell, line in zip(cells, lines, strict=True):
            if "," not in cell:
                continue
            text = cell.strip()
            if not GROUPS.fullmatch(text):
                if NUMBER.fullmatch(text):  # a decimal comma beyond doubt
                    self.needed = False
                    return
                continue
            value = float(text.replace(",", "")) * target.scale + target.offset
            if text.count(",") == 1 and not channel.lowest <= value <= channel.highest:
                self.needed = False
                return
            self.doubtful.setdefault(
                key, Fault(self.file, key, f"{shown(text)}, which may be thousands", ALLOWED, line)
            )

    def faults(self) -> list[Fault]:
        """Columns in doubt at the file's end, if nothing settled it."""
        return list(self.doubtful.values())[:MOST_FAULTS] if self.needed else []

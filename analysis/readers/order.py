"""Samples in order of time, each time once: the findings are the same whatever the format."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.core.types import Warning
from analysis.readers.samples import note
from analysis.readers.times import Micros


def in_order(
    name: str, stamps: NDArray[Any], *, lines: Micros | None = None, usual: NDArray[np.bool_] | None = None
) -> tuple[Micros, list[Warning]]:
    """Which samples are kept, in order of time: the first of each time.

    Repeats of samples that are `usual` (a lap's first sample is the former lap's last in some formats) go without a
    word; `lines` say where others are found.
    """
    order = np.argsort(stamps, kind="stable")
    notes = []
    back = int(np.count_nonzero(np.diff(stamps) < 0))
    if back:
        what = f"{name}: time goes back {back} times; the samples were put in order of time."
        notes.append(note("file_damaged", what, "Check the device's clock."))
    fresh = np.ones(order.size, dtype=bool)
    fresh[1:] = np.diff(stamps[order]) > 0
    repeats = order[~fresh]
    if usual is not None:
        repeats = repeats[~usual[repeats]]
    if repeats.size:
        where = "" if lines is None else f" (first in line {lines[repeats.min()]})"
        what = f"{name}: {repeats.size} of {stamps.size} samples repeat a time{where}; the first of each was kept."
        notes.append(note("file_damaged", what, "Record times with fractions of a second, or once a second."))
    return order[fresh], notes

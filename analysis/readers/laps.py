"""Laps as spans of time: from a column that counts them, or from the moments at which they began."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

import numpy as np

from analysis.core.types import Array
from analysis.readers.samples import Lap


def laps_counted(time_s: Array, columns: Mapping[str, Array]) -> tuple[Lap, ...]:
    """Laps from the column that counts them, if there is one."""
    counted = columns.get("lap")
    if counted is None:
        return ()
    known = np.isfinite(counted)
    numbers, times = counted[known], time_s[known]
    starts = np.flatnonzero(np.diff(numbers, prepend=np.nan) != 0)
    ends = [float(times[at]) for at in starts[1:]] + [math.inf]
    return tuple(Lap(int(numbers[at]), float(times[at]), end) for at, end in zip(starts, ends, strict=True))


def laps_begun(starts: Iterable[float]) -> tuple[Lap, ...]:
    """Laps from their starts, counted over the whole file; the last goes on to the file's end."""
    begun = sorted(set(starts))
    return tuple(
        Lap(at, start, end) for at, (start, end) in enumerate(zip(begun, [*begun[1:], math.inf], strict=False), 1)
    )


def lap_column(laps: tuple[Lap, ...], time_s: Array) -> Array:
    """The lap of each sample; NaN before the first."""
    numbers = np.searchsorted([lap.start_s for lap in laps], time_s, side="right").astype(np.float64)
    return np.where(numbers > 0, numbers, np.nan)

"""Runs that cannot be two: cut from the same samples, or recorded at the same time.

A run is the unit of evidence: one ride counted twice would halve a scatter that nobody measured.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from analysis.core.types import Array, Warning
from analysis.readers.faults import Fault, shown
from analysis.readers.samples import note

SHARED = 0.1  # of the shorter run; a cut by hand that is some seconds wide is no double
OWN_PART = "a part of its own for each run: another recording, from and to, a lap, or left_out with its reason"
CHECK = (
    "Check the device's clock, and that each run names its own recording: drift over the day is told by these times."
)


@dataclass(frozen=True, slots=True)
class Ridden:
    """A run that counts: its place in the document, its recording, and its samples on the session's clock."""

    key: str
    number: int
    recording: str
    clocked: bool
    time_us: Array
    samples: dict[str, Array]


def doubles(file: str, runs: Sequence[Ridden]) -> tuple[list[Fault], list[Warning]]:
    """Refuse a run whose samples another run has, and tell one that was recorded while another was."""
    faults: dict[str, Fault] = {}
    found: dict[str, Warning] = {}
    for first, second in combinations(runs, 2):
        together = _together(first, second)
        if first.recording == second.recording:
            double = together
        else:
            double = (together or not (first.clocked and second.clocked)) and _alike(first, second)
        if double:
            given = f"the samples of run {first.number} again, from {shown(second.recording)}"
            faults.setdefault(second.key, Fault(file, second.key, given, OWN_PART))
        elif together and first.clocked and second.clocked:
            what = f"Run {second.number} was recorded at the same time as run {first.number}."
            found.setdefault(second.key, replace(note("clock_offset", what, CHECK), where=f"run {second.number}"))
    return list(faults.values()), list(found.values())


def _together(first: Ridden, second: Ridden) -> bool:
    begins, ends = zip(*((run.time_us[0], run.time_us[-1]) for run in (first, second)), strict=True)
    shorter = min(end - begin for begin, end in zip(begins, ends, strict=True))
    return bool(min(ends) - max(begins) >= SHARED * shorter)


def _alike(first: Ridden, second: Ridden) -> bool:
    """Whether two files hold the same samples: one copied under another name."""
    if first.time_us.size != second.time_us.size or first.samples.keys() != second.samples.keys():
        return False
    return all(np.array_equal(values, second.samples[name], equal_nan=True) for name, values in first.samples.items())

"""A recording as read: channels under their published names, and what the file says about itself.

Values stay in the units of files (degrees, hPa, percent); a gap is NaN. How each format is read is in its own file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

from analysis.core.types import Array, Level, Warning
from analysis.readers.channels import CHANNELS

Format = Literal["csv", "fit", "tcx", "gpx"]


@dataclass(frozen=True, slots=True)
class Lap:
    """Samples from `start_s` (inclusive) to `end_s` (exclusive) on the recording's clock."""

    number: int
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Event:
    """Something the device noted, by the words of the open profile (`timer` `stop_all`, ...)."""

    time_s: float
    event: str
    kind: str


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """One file, read. `time_s` counts from `start`; without a clock time `start` is None and seconds are the file's."""

    format: Format
    start: datetime | None
    time_s: Array
    columns: Mapping[str, Array]
    device: Mapping[str, Any] = field(default_factory=dict)
    laps: tuple[Lap, ...] = ()
    events: tuple[Event, ...] = ()
    extra: Mapping[str, Array] = field(default_factory=dict)  # numeric fields that are no channel, by the file's name
    extra_units: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[Warning, ...] = ()

    @property
    def units(self) -> dict[str, str]:
        """Unit of each channel that is present."""
        return {name: CHANNELS[name].unit for name in self.columns}


def note(code: str, what: str, do: str) -> Warning:
    """A reader's finding; where it belongs is known only once the runs are cut."""
    level: Level = "note" if code in {"zone_assumed", "unknown_key"} else "caution"
    return Warning(code, level, "session", what, do)

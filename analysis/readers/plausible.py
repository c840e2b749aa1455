"""Values no sensor can have seen: a few become gaps and are noted, many mean a wrong unit and are refused."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analysis.core.types import Array, Warning
from analysis.readers.channels import CHANNELS
from analysis.readers.faults import Fault
from analysis.readers.samples import note
from analysis.readers.times import Micros

TURN_DEG, HALF_DEG = 360.0, 180.0
WRONG_UNIT = 0.10  # share outside the range above which the unit, not a spike, is to blame; common practice, no source


def keep_plausible(
    name: str, columns: Mapping[str, Array], lines: Micros | None = None
) -> tuple[dict[str, Array], list[Fault], list[Warning]]:
    """Blank what lies outside a channel's range; refuse a channel that mostly does."""
    kept, faults, notes = {}, [], []
    for key, values in columns.items():
        channel = CHANNELS[key]
        if key == "yaw_deg":  # a direction: 181 degrees is -179, as noise about the back makes it
            beyond = (np.abs(values) > HALF_DEG) & (np.abs(values) <= TURN_DEG)
            values = np.where(beyond, values - np.sign(values) * TURN_DEG, values)
        outside = (values < channel.lowest) | (values > channel.highest)
        count = int(np.count_nonzero(outside))
        allowed = f"{channel.lowest:.9g} to {channel.highest:.9g} {channel.unit}"
        if count:
            first = int(np.argmax(outside))
            line = None if lines is None else int(lines[first])
            if count > WRONG_UNIT * np.count_nonzero(np.isfinite(values)):
                more = f" and {count - 1} more values" if count > 1 else ""
                given = f"{values[first]:g}{more} out of range"
                faults.append(Fault(name, key, given, allowed, line))
            where = f" (first in line {line})" if line else ""
            values_are = "1 value of {} is" if count == 1 else f"{count} values of {{}} are"
            what = f"{name}: {values_are.format(key)} outside {allowed}{where} and left as gaps."
            notes.append(note("gaps", what, "Look at the sensor if the run matters."))
            values = np.where(outside, np.nan, values)
        kept[key] = values
    return kept, faults, notes

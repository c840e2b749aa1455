"""TCX and GPX recordings: points to channels, laps (segments in GPX), and what a broken file still gives.

Distances and speeds are taken where the file gives them, never computed. Numeric fields that are no channel are kept
beside them under the file's names. How elements become tables is `xml_points.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.core.types import Array, Warning
from analysis.readers.clock import Clock
from analysis.readers.faults import Fault, Refused
from analysis.readers.laps import lap_column, laps_begun
from analysis.readers.limits import Limits
from analysis.readers.mapping import Target, resolve
from analysis.readers.mapping_document import Own, rules_of
from analysis.readers.order import in_order
from analysis.readers.plausible import keep_plausible
from analysis.readers.samples import Format, Lap, Recording, note
from analysis.readers.times import Micros, moment_of
from analysis.readers.xml_points import Points, read_points

FORMATS: dict[str, Format] = {"TrainingCenterDatabase": "tcx", "gpx": "gpx"}  # by root element
COPY_AGAIN = "Export or copy the file again if the lost part matters."

# What the schemas and their usual extensions call things, and the unit that they prescribe.
LABELS = {
    "latitudedegrees": "latitude (deg)",
    "longitudedegrees": "longitude (deg)",
    "altitudemeters": "altitude (m)",
    "distancemeters": "distance (m)",
    "heartratebpm": "heart rate (bpm)",
    "watts": "power (w)",
    "powerinwatts": "power (w)",
    "speed": "speed (m/s)",
    "ele": "elevation (m)",
    "hr": "heart rate (bpm)",
    "cad": "cadence (rpm)",
    "atemp": "temperature (c)",
}


def read_xml(name: str, data: bytes, *, mapping: Own, zone: str | None, limits: Limits) -> Recording:
    """Read a TCX or GPX recording as far as it is sound, or refuse it."""
    clock = Clock(name, zone)
    points = read_points(name, data, clock=clock, limits=limits)
    table, notes = _table(points)
    labels = [LABELS.get(field.casefold(), field) for field in table.names]
    targets, faults = resolve(name, table.names, rules_of(mapping, _device(points, {}, [])), labels)
    used = {table.names[at]: target for at, target in targets.items()}
    faults += [fault for field in used for fault in points.numbers[field].faults]
    columns = {target.channel: _converted(table.values(field), target) for field, target in used.items()}
    columns, implausible, found = keep_plausible(name, columns, table.lines)
    laps = _laps(points, table)
    if faults := [*clock.faults, *faults, *implausible]:
        raise Refused(faults)
    if laps and "lap" not in columns:
        columns["lap"] = lap_column(laps, table.time_s)
    notes += [*_gaps(name, points, used), *clock.notes(), *found]
    rest = {
        field: table.values(field) for field in table.names if field not in used and not points.numbers[field].faults
    }
    extra = {field: values for field, values in rest.items() if np.isfinite(values).any()}
    unread = [field for field in table.names if points.numbers[field].faults]
    device = _device(points, {field: target.channel for field, target in used.items()}, unread)
    start = moment_of(int(table.stamps[0]))
    return Recording(FORMATS[points.root], start, table.time_s, columns, device, laps, extra=extra, notes=tuple(notes))


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """Points with a time, in order of time."""

    points: Points
    order: Micros
    stamps: Micros

    @property
    def names(self) -> list[str]:
        return list(self.points.columns)

    @property
    def lines(self) -> Micros:
        return np.array(self.points.lines, dtype=np.int64)[self.order]

    @property
    def time_s(self) -> Array:
        return np.asarray((self.stamps - self.stamps[0]) / 1e6, dtype=np.float64)

    def values(self, field: str) -> Array:
        return self.points.column(field)[self.order]


def _table(points: Points) -> tuple[_Table, list[Warning]]:
    places, stamps = points.times()
    notes = []
    if points.damage:
        what = f"{points.file}: reading stopped ({points.damage}); what comes after is lost."
        notes.append(note("file_damaged", what, COPY_AGAIN))
    if points.clock.faults:
        raise Refused(points.clock.faults)
    if not stamps.size:
        kind = "no GPX or TCX document" if not points.root else f"{points.count} points and no time"
        lost = f"; reading stopped ({points.damage})" if points.damage else ""
        raise Refused([Fault(points.file, "samples", kind + lost, "a TCX or GPX file recorded with times")])
    if stamps.size < points.count:
        what = f"{points.file}: {points.count - stamps.size} points have no time and were left out."
        notes.append(note("file_damaged", what, COPY_AGAIN))
    lines = np.array(points.lines, dtype=np.int64)[places]
    first_of_lap = np.isin(places, [first for first, _, _ in points.laps])
    kept, found = in_order(points.file, stamps, lines=lines, usual=first_of_lap)
    return _Table(points, places[kept], stamps[kept]), [*notes, *found]


def _converted(values: Array, target: Target) -> Array:
    scaled = values * target.scale + target.offset
    return np.where(np.isfinite(scaled), scaled, np.nan)


def _gaps(name: str, points: Points, used: Mapping[str, Target]) -> list[Warning]:
    return [
        note(
            "gaps",
            f"{name}: {count} values of {field} are no finite number and are left as gaps.",
            "Look at the sensor.",
        )
        for field in used
        for count in points.numbers[field].gaps.values()
    ]


def _laps(points: Points, table: _Table) -> tuple[Lap, ...]:
    """Laps from their written start, else from their first point's time; those without either are none."""
    places, stamps = points.times()
    times = dict(zip(places.tolist(), stamps.tolist(), strict=True))
    counts = [first for first, _, _ in points.laps] + [points.count]
    starts = []
    for at, (first, written, line) in enumerate(points.laps):
        if written:
            starts.append(int(points.clock.column([written[:100]], [line])[0]))
        else:
            starts += [times[place] for place in range(first, counts[at + 1]) if place in times][:1]
    zero = int(table.stamps[0])
    return laps_begun([(start - zero) / 1e6 for start in starts])


def _device(points: Points, fields: Mapping[str, str], unread: list[str]) -> dict[str, Any]:
    """What the file says of its maker, in plain JSON, by the words that FIT has for it."""
    said = points.creator
    version = ".".join(said[part] for part in ("VersionMajor", "VersionMinor") if part in said)
    facts = {
        "product_name": said.get("Name") or points.attributes.get("creator", "")[:200],
        "product": said.get("ProductID"),
        "serial_number": said.get("UnitId"),
        "software_version": version,
    }
    return {
        "columns": sorted(points.columns),
        "fields": dict(fields),
        "unread_fields": sorted(unread),
        "file": [{key: value for key, value in facts.items() if value}],
    }

"""FIT recordings: record fields to channels, laps, events, devices, and what a damaged file still gives.

Times are UTC by the format. Fields that are no channel are kept beside them under the file's names; a developer field
is `developer<index>.<name>` and fills a channel only where the profile's own fields do not, or where mapped.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from analysis.core.types import Array, Warning
from analysis.readers.faults import Fault, Refused
from analysis.readers.fit_messages import Messages, read_messages
from analysis.readers.laps import lap_column, laps_begun
from analysis.readers.limits import Limits
from analysis.readers.mapping import Target, resolve
from analysis.readers.mapping_document import Own, rules_of
from analysis.readers.order import in_order
from analysis.readers.plausible import keep_plausible
from analysis.readers.samples import Event, Lap, Recording, note
from analysis.readers.times import Micros, moment_of

FIT_EPOCH_S = 631_065_600  # 1989-12-31T00:00:00Z in seconds since 1970 (FIT protocol, date_time)
CLOCK_MIN_S = 0x1000_0000  # smaller times count from power-on (FIT protocol, date_time)
COPY_AGAIN = "Copy the file from the device again if the lost part matters."
FACTS = ("manufacturer", "product", "product_name", "serial_number", "software_version", "device_index", "device_type")


def read_fit(name: str, data: bytes, *, mapping: Own, limits: Limits) -> Recording:
    """Read a FIT recording as far as it is sound, or refuse it."""
    messages = read_messages(name, data, limits)
    notes = [note("file_damaged", f"{name}: {damage}.", COPY_AGAIN) for damage in messages.damage]
    if "timestamp" not in messages.columns:
        lost = f"; {messages.damage[0]}" if messages.damage else ""
        raise Refused([Fault(name, "samples", f"no record with a time{lost}", "a FIT activity with record messages")])
    stamps, order, found = _ordered(name, messages.column("timestamp"))
    notes += found
    names = _fields(messages)
    labels = [f"{name.rpartition('.')[2]} ({messages.units[name]})" for name in names]
    targets, faults = resolve(name, names, rules_of(mapping, _device(messages, names, {})), labels)
    columns = {to.channel: _converted(messages.column(names[at])[order], to) for at, to in targets.items()}
    columns, implausible, found = keep_plausible(name, columns)
    if faults or implausible:
        raise Refused([*faults, *implausible])
    clocked = bool(stamps[0] >= CLOCK_MIN_S)
    zero = float(stamps[0]) if clocked else 0.0
    time_s = stamps - zero
    laps = _laps(messages, zero, time_s)
    if laps and "lap" not in columns:
        columns["lap"] = lap_column(laps, time_s)
    used = {names[at] for at in targets}
    rest = [field for field in names if field not in used]
    return Recording(
        "fit",
        moment_of((int(stamps[0]) + FIT_EPOCH_S) * 1_000_000) if clocked else None,
        time_s,
        columns,
        _device(messages, names, {names[at]: to.channel for at, to in targets.items()}),
        laps,
        _events(messages, zero),
        {field: messages.column(field)[order] for field in rest},
        {field: messages.units[field] for field in rest if messages.units[field]},
        (*notes, *found),
    )


def _fields(messages: Messages) -> list[str]:
    """Fields that hold anything: enhanced ones first, as they are the finer of two, developer fields last."""
    held = [
        name
        for name, parts in messages.columns.items()
        if name != "timestamp" and any(np.isfinite(values).any() for _, values in parts)
    ]
    return sorted(held, key=lambda name: (name.startswith("developer"), not name.startswith("enhanced")))


def _converted(values: Array, target: Target) -> Array:
    scaled = values * target.scale + target.offset
    return np.where(np.isfinite(scaled), scaled, np.nan)


def _ordered(name: str, seconds: Array) -> tuple[Array, Micros, list[Warning]]:
    """Times that rise, and which records they are: a FIT file cannot be mended by hand, so it is put in order here."""
    timed = np.flatnonzero(np.isfinite(seconds))
    if (seconds[timed] >= CLOCK_MIN_S).any():
        timed = timed[seconds[timed] >= CLOCK_MIN_S]
    kept, notes = in_order(name, seconds[timed])
    order = timed[kept]
    if timed.size < seconds.size:
        what = f"{name}: {seconds.size - timed.size} samples have no time of the clock and were left out."
        notes.append(note("file_damaged", what, COPY_AGAIN))
    return seconds[order], order, notes


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) else None


def _laps(messages: Messages, zero: float, time_s: Array) -> tuple[Lap, ...]:
    """Laps counted over the whole file; after the last one that was closed the open one goes on."""
    ends = sorted(end for lap in messages.other["lap"] if (end := _number(lap.get("timestamp"))) is not None)
    begun = sorted(start for lap in messages.other["lap"] if (start := _number(lap.get("start_time"))) is not None)
    if len(begun) != len(messages.other["lap"]):
        begun = [float(time_s[0]) + zero, *ends[:-1]]
    starts = [start - zero for start in begun]
    if starts and ends and ends[-1] - zero < time_s[-1]:
        starts.append(max(ends[-1] - zero, starts[-1] + 1))
    return laps_begun(starts)


def _events(messages: Messages, zero: float) -> tuple[Event, ...]:
    found = [(_number(event.get("timestamp")), event) for event in messages.other["event"]]
    return tuple(
        Event(time - zero, str(event.get("event", ""))[:80], str(event.get("event_type", ""))[:80])
        for time, event in found
        if time is not None
    )


def _device(messages: Messages, names: list[str], fields: Mapping[str, str]) -> dict[str, Any]:
    """What the file says of its maker, in plain JSON."""
    return {
        "columns": sorted(names),
        "fields": dict(fields),
        "unread_fields": sorted(messages.unread),
        "parts": messages.parts,
        "sessions": len(messages.other["session"]),
        "file": [_facts(entry) for entry in messages.other["file_id"]],
        "devices": [_facts(entry) for entry in messages.other["device_info"]],
    }


def _facts(entry: Mapping[str, Any]) -> dict[str, str | float]:
    plain = {key: entry[key] for key in FACTS if isinstance(entry.get(key), str | int | float)}
    return {key: value[:200] if isinstance(value, str) else value for key, value in plain.items()}

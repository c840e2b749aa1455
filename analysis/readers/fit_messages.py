"""FIT messages to tables: every field of every record, and what the file says of laps, events and devices.

The decoding is the library's (fitdecode, loaded on first use: it takes longer to import than a CSV session to read).
What the fields mean is `fit_reader.py`.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import islice, pairwise
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from analysis.core.types import Array
from analysis.readers.faults import Fault, Refused
from analysis.readers.first_bytes import FIT_MAGIC
from analysis.readers.limits import Limits

Places = NDArray[np.intp]
BLOCK = 512
MOST_NOTED = 10_000  # laps, events and devices each
MOST_DAMAGE = 20
MOST_PARTS = 1000  # chained files
KEPT = {0: "file_id", 18: "session", 19: "lap", 21: "event", 23: "device_info"}  # by the open profile's numbers
RECORD = 20
HEADER_SIZES, CRC_BYTES = (12, 14), 2
HEADER, CRC, DATA = 1, 2, 4  # fitdecode's frame types


class _Part(Protocol):
    """One field of a message, as the decoder gives it."""

    field_def: Any
    name: str
    units: str | None
    value: object


class _Message(Protocol):
    """One data message, as the decoder gives it."""

    def_mesg: object
    fields: list[_Part]


class _Edge(Protocol):
    """The header or the checksum of a part, as the decoder gives it."""

    frame_type: int
    crc_matched: bool | None  # of a header
    matched: bool  # of a checksum


@dataclass
class _Group:
    """Records of one definition: one row layout."""

    names: list[str]
    units: list[str]
    rows: list[list[Any]] = field(default_factory=list)
    places: list[int] = field(default_factory=list)


@dataclass
class Messages:
    """What one file holds, chained parts together."""

    count: int = 0
    columns: dict[str, list[tuple[Places, Array]]] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    unread: set[str] = field(default_factory=set)
    other: dict[str, list[dict[str, Any]]] = field(default_factory=lambda: {name: [] for name in KEPT.values()})
    parts: int = 0
    damage: list[str] = field(default_factory=list)

    def hurt(self, damage: str) -> None:
        """Note damage; a file broken everywhere says so a few times only."""
        if len(self.damage) < MOST_DAMAGE:
            self.damage.append(damage)

    def column(self, name: str) -> Array:
        """Give a field over all records; NaN where a record lacks it."""
        values = np.full(self.count, np.nan)
        for places, part in self.columns[name]:
            values[places] = np.where(np.isnan(part), values[places], part)
        return values


def read_messages(name: str, data: bytes, limits: Limits) -> Messages:
    """Decode each chained part as far as it is sound; `damage` tells what is lost."""
    messages = Messages()
    starts = list(islice(_headers(data), MOST_PARTS + 1))
    if len(starts) > MOST_PARTS:
        raise Refused([Fault(name, "file", f"more than {MOST_PARTS} chained files", f"at most {MOST_PARTS}")])
    for at, end in pairwise([*starts, len(data)]):
        part = _finished(data[at:end], messages)
        sound, promised, broken = _read_part(name, part, at, messages, limits)
        if broken and (sound < promised or part[sound:].strip(b"\0")):  # zeros behind the end are no loss
            lost = max(promised, len(part)) - sound
            messages.hurt(f"reading stopped at byte {at + sound} ({broken}); {lost} bytes from there on are lost")
    return messages


def _headers(data: bytes) -> Iterator[int]:
    """Where files of a chain begin: told by their headers, as a broken file's own length would lead into the next."""
    at = 0
    while at >= 0:
        if data[at] in HEADER_SIZES:
            yield at
        at = data.find(FIT_MAGIC, at + 9) - 8


def _finished(part: bytes, messages: Messages) -> bytes:
    """A device that stopped before it closed the file leaves size 0 in its header: all that follows is meant."""
    body = len(part) - part[0]
    if int.from_bytes(part[4:8], "little") or body <= CRC_BYTES:
        return part
    messages.hurt("the device did not close the file; what it had written was read to its end")
    return part[:4] + body.to_bytes(4, "little") + part[8:]


def _read_part(name: str, data: bytes, at: int, messages: Messages, limits: Limits) -> tuple[int, int, str]:
    """Read one file: where the last sound frame ends, where the file should, and what stopped it or ''."""
    # The one allowed import inside a function: a format's own library, on first use.
    from analysis.readers.fit_decoder import frames_of

    stream = io.BytesIO(data)
    groups: dict[tuple[object, int], _Group] = {}
    sound, promised, broken = 0, 0, ""
    try:
        for frame in frames_of(stream):
            if frame.frame_type == DATA:
                number = frame.def_mesg.global_mesg_num
                if number == RECORD:
                    _take(frame, groups, messages)
                elif number in KEPT:
                    _keep(frame, messages.other[KEPT[number]])
            elif frame.frame_type in (HEADER, CRC):
                _checksum(frame, at + stream.tell(), messages)
                promised = stream.tell() + (frame.body_size + CRC_BYTES if frame.frame_type == HEADER else 0)
            sound = stream.tell()
            if messages.count > limits.max_samples:
                break
    except Exception as error:  # a broken file can break the decoder anywhere; what came before is sound
        broken = "the file ends there" if promised > len(data) else type(error).__name__
    if messages.count > limits.max_samples:
        given = f"more than {limits.max_samples} samples"
        raise Refused([Fault(name, "samples", given, f"at most {limits.max_samples}")])
    for group in groups.values():
        _flush(group, messages)
    return sound, promised, broken


def _checksum(frame: _Edge, place: int, messages: Messages) -> None:
    """Count the parts and note a checksum that does not match; a header may go without one."""
    if frame.frame_type == HEADER:
        messages.parts += 1
    matched = frame.crc_matched if frame.frame_type == HEADER else frame.matched
    if matched is False:
        messages.hurt(f"the checksum at byte {place} does not match, so values may be wrong")


def _take(frame: _Message, groups: dict[tuple[object, int], _Group], messages: Messages) -> None:
    fields = frame.fields
    key = (frame.def_mesg, len(fields))
    group = groups.get(key)
    if group is None:
        group = groups[key] = _Group([_name(part) for part in fields], [part.units or "" for part in fields])
    group.rows.append([part.value for part in fields])
    group.places.append(messages.count)
    messages.count += 1
    if len(group.rows) == BLOCK:
        _flush(group, messages)


def _name(part: _Part) -> str:
    """A developer field stays apart from the profile's field of the same name."""
    if part.field_def is not None and part.field_def.is_dev:
        return f"developer{part.field_def.dev_data_index}.{part.name}"
    return str(part.name)


def _flush(group: _Group, messages: Messages) -> None:
    places = np.array(group.places, dtype=np.intp)
    for name, unit, values in zip(group.names, group.units, zip(*group.rows, strict=True), strict=True):
        try:
            numbers = np.array(values, dtype=np.float64)
        except (TypeError, ValueError, OverflowError):  # texts and lists: no channel
            messages.unread.add(name)
            continue
        if numbers.ndim == 1:
            messages.columns.setdefault(name, []).append((places, numbers))
            messages.units[name] = unit
        else:
            messages.unread.add(name)
    group.rows.clear()
    group.places.clear()


def _keep(frame: _Message, kept: list[dict[str, Any]]) -> None:
    if len(kept) < MOST_NOTED:
        kept.append({_name(part): part.value for part in frame.fields if part.value is not None})

"""Text to time: ISO 8601 with or without a zone, as microseconds since 1970 UTC.

A whole column in one layout is read at once; anything else cell by cell. Time zones are IANA names.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

Micros = NDArray[np.int64]
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
TIME_ALLOWED = "ISO 8601 date and time such as 2026-05-09T08:00:01Z, or seconds"

_SIGNS = np.frombuffer(b"dddd-dd-ddTdd:dd:dd.dddddd", dtype=np.uint8)
_DIGIT = np.equal(_SIGNS, ord("d"))


def known_zone(name: str) -> ZoneInfo | None:
    """Find a time zone by its IANA name; None where there is none of that name."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):  # the last two: names that are paths or folders
        return None


def parse_time(text: str, zone: tzinfo) -> tuple[datetime, bool]:
    """Read one time; the flag says that it had no zone and `zone` was assumed. ValueError where it is none."""
    text = text.strip()
    if len(text) < len("2026-05-09T08:00") or not text.isascii():
        raise ValueError(text)
    moment = datetime.fromisoformat(text)
    assumed = moment.tzinfo is None
    if not 1990 <= moment.year <= 2100:
        raise ValueError(text)
    return (moment.replace(tzinfo=zone) if assumed else moment).astimezone(UTC), assumed


def micros(moment: datetime) -> int:
    """Count whole microseconds since 1970 UTC."""
    return (moment - EPOCH) // timedelta(microseconds=1)


def moment_of(value: int) -> datetime:
    """Turn microseconds since 1970 UTC into a moment."""
    return EPOCH + timedelta(microseconds=int(value))


def parse_column(cells: Sequence[str], zone: tzinfo) -> tuple[Micros, bool] | None:
    """Read a column at once where all cells share one layout; None where they do not or one is no time."""
    length, count = len(cells[0]), len(cells)
    text = "".join(cells)
    if len(text) != length * count or not 19 <= length <= 32 or not text.isascii():
        return None
    signs = np.frombuffer(text.encode("ascii"), dtype=np.uint8).reshape(count, length)
    first = cells[0]
    width = next((at for at in range(19, length) if first[at] in "Z+-"), length)
    if not (width == 19 or 21 <= width <= 26) or not _one_layout(signs, width):
        return None
    try:
        stamps = np.ascontiguousarray(signs[:, :width]).view(f"S{width}").ravel().astype("M8[us]").astype(np.int64)
        moment, assumed = parse_time(first, zone)
        last, _ = parse_time(cells[-1], zone)
    except ValueError:
        return None
    offset = micros(moment) - int(stamps[0])
    if micros(last) - int(stamps[-1]) != offset:  # a change of summer time lies between: cell by cell
        return None
    return stamps + offset, assumed


def _one_layout(signs: NDArray[np.uint8], width: int) -> bool:
    """Whether digits and separators stand where ISO 8601 has them, and all rows end in the same zone."""
    digit = _DIGIT[:width]
    fixed = signs[:, :width][:, ~digit] == _SIGNS[:width][~digit]
    fixed[:, 2] |= signs[:, 10] == ord(" ")
    digits = signs[:, :width][:, digit]
    same_zone = bool((signs[:, width:] == signs[0, width:]).all())
    return same_zone and bool(fixed.all()) and bool(((digits >= ord("0")) & (digits <= ord("9"))).all())

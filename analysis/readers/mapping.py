"""From a file's own column names to channels: a plain default table, and one the studio edits.

A default reading needs a quantity and, where the trade uses several units, a unit: `Speed (km/h)`, `air speed [m/s]`,
`Power`. A quantity whose unit cannot be told is left alone rather than guessed. Field names of the open FIT profile are
known too. A studio's own mapping comes as `{"file field": "channel"}`, `"channel*scale"` or `"channel*scale+offset"`;
an empty string leaves the field unread. It wins over the default.
"""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analysis.readers.channels import CHANNELS, TIME
from analysis.readers.faults import Fault, shown

QUANTITIES = {
    "latitude_deg": ("latitude", "lat", "position lat"),
    "longitude_deg": ("longitude", "lon", "lng", "long", "position long"),
    "altitude_m": ("altitude", "elevation", "alt", "enhanced altitude"),
    "distance_m": ("distance", "dist"),
    "speed_mps": ("speed", "wheel speed", "ground speed", "bike speed", "velocity", "enhanced speed"),
    "power_w": ("power", "watts"),
    "cadence_rpm": ("cadence",),
    "heart_rate_bpm": ("heart rate", "heartrate", "hr", "pulse"),
    "airspeed_mps": ("airspeed", "air speed"),
    "yaw_deg": ("yaw", "yaw angle"),
    "tilt_deg": ("tilt", "tilt angle"),
    "temperature_c": ("temperature", "temp", "air temperature"),
    "pressure_hpa": ("pressure", "air pressure", "barometric pressure", "absolute pressure", "station pressure"),
    "humidity_pct": ("humidity", "relative humidity"),
    "lap": ("lap", "lap number"),
    TIME: ("time", "timestamp", "date time", "datetime", "utc time", "time utc"),
}

# Factor and offset into the channel's unit. Exact: international mile and foot (1959), semicircle 180/2^31 deg.
LENGTH = {"m": (1.0, 0.0), "km": (1000.0, 0.0), "ft": (0.3048, 0.0), "mi": (1609.344, 0.0)}
SPEED = {"m/s": (1.0, 0.0), "mps": (1.0, 0.0), "km/h": (1 / 3.6, 0.0), "kmh": (1 / 3.6, 0.0), "kph": (1 / 3.6, 0.0)}
SPEED |= {"mph": (0.44704, 0.0)}
ANGLE = {"deg": (1.0, 0.0), "°": (1.0, 0.0), "degrees": (1.0, 0.0), "rad": (57.29577951308232, 0.0)}
ANGLE |= {"semicircles": (180 / 2**31, 0.0)}
UNITS = {
    "latitude_deg": ANGLE,
    "longitude_deg": ANGLE,
    "altitude_m": LENGTH,
    "distance_m": LENGTH,
    "speed_mps": SPEED,
    "power_w": {"w": (1.0, 0.0), "watts": (1.0, 0.0), "watt": (1.0, 0.0), "kw": (1000.0, 0.0)},
    "cadence_rpm": {"rpm": (1.0, 0.0), "1/min": (1.0, 0.0)},
    "heart_rate_bpm": {"bpm": (1.0, 0.0), "1/min": (1.0, 0.0)},
    "airspeed_mps": SPEED,
    "yaw_deg": ANGLE,
    "tilt_deg": ANGLE,
    "temperature_c": {
        **dict.fromkeys(("c", "°c", "degc", "celsius"), (1.0, 0.0)),
        **dict.fromkeys(("f", "°f", "degf"), (5 / 9, -160 / 9)),
        "k": (1.0, -273.15),
    },
    "pressure_hpa": {"hpa": (1.0, 0.0), "mbar": (1.0, 0.0), "pa": (0.01, 0.0), "kpa": (10.0, 0.0)},
    "humidity_pct": {"%": (1.0, 0.0), "pct": (1.0, 0.0), "percent": (1.0, 0.0)},
    "lap": {},
    TIME: {"s": (1.0, 0.0), "utc": (1.0, 0.0)},
}
# Without a unit these are read in the channel's own; speeds, distances and pressures are not: many units are in use.
UNIT_NEEDED = {"distance_m", "speed_mps", "airspeed_mps", "pressure_hpa"}
UNSIGNED = r"(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
RULE = re.compile(rf"(?P<channel>\w+)(?:\*(?P<scale>[-+]?{UNSIGNED}))?(?P<offset>[-+]{UNSIGNED})?", re.ASCII)
BRACKETS = re.compile(r"(?P<words>.+?)\s*[(\[](?P<unit>[^)\]]*)[)\]]")


@dataclass(frozen=True, slots=True)
class Target:
    """Where a file's field goes: channel = value * scale + offset."""

    channel: str
    scale: float = 1.0
    offset: float = 0.0


def _words(text: str) -> str:
    return " ".join(re.split(r"[\s_\-.]+", text.strip()))


def default_target(field: str) -> Target | None:
    """Read a field name by the default table; None where the quantity or its unit cannot be told."""
    text = unicodedata.normalize("NFC", field).strip().casefold()
    if text in CHANNELS or text == TIME:
        return Target(text)
    bracketed = BRACKETS.fullmatch(text)
    words, unit = (bracketed["words"], bracketed["unit"].strip()) if bracketed else (text, "")
    if words in CHANNELS and unit in UNITS[words]:
        return Target(words, *UNITS[words][unit])
    words = _words(words)
    for channel, names in QUANTITIES.items():
        if words not in names:
            continue
        if unit in UNITS[channel]:
            return Target(channel, *UNITS[channel][unit])
        return None if unit or channel in UNIT_NEEDED else Target(channel)
    return None


def suggested_channel(field: str) -> str | None:
    """Name the channel that a field left unread most resembles; None where it resembles none."""
    text = unicodedata.normalize("NFC", field).strip().casefold()[:200].rpartition("developer")[2].lstrip("0123456789.")
    bracketed = BRACKETS.fullmatch(text)
    words = _words(bracketed["words"] if bracketed else text)
    known = {name: channel for channel, names in QUANTITIES.items() for name in (*names, _words(channel))}
    if words in known:
        return known[words]
    close = difflib.get_close_matches(words, known, n=1, cutoff=0.75)
    if close:
        return known[close[0]]
    # "front power meter": the longest known word group within; short ones ("hr", "alt") would be found anywhere.
    inside = [name for name in known if len(name) > 3 and f" {name} " in f" {words} "]
    return known[max(inside, key=len)] if inside else None


def parse_mapping(mapping: Mapping[str, str]) -> tuple[dict[str, Target | None], list[Fault]]:
    """Read a studio's own mapping; None stands for a field left unread."""
    targets: dict[str, Target | None] = {}
    faults = []
    for field, rule in mapping.items():
        name = field.strip().casefold()
        found = RULE.fullmatch(rule.replace(" ", ""))
        if not rule.strip():
            targets[name] = None
            continue
        try:
            if not found or (found["channel"] not in CHANNELS and found["channel"] != TIME):
                raise ValueError
            target = Target(found["channel"], float(found["scale"] or 1), float(found["offset"] or 0))
            if not target.scale or not math.isfinite(target.scale) or not math.isfinite(target.offset):
                raise ValueError
            targets[name] = target
        except ValueError:
            allowed = "'channel', 'channel*scale' or 'channel*scale+offset' with a channel of " + ", ".join(CHANNELS)
            faults.append(Fault("mapping", field, shown(rule), allowed))
    return targets, faults


def resolve(
    file: str, fields: Sequence[str], mapping: Mapping[str, str] | None, labels: Sequence[str] | None = None
) -> tuple[dict[int, Target], list[Fault]]:
    """Choose for each channel the field that fills it: the studio's mapping, the exact name, else the first.

    `labels` say to the default table what `fields` are, where the file keeps names and units apart.
    """
    own, faults = parse_mapping(mapping or {})
    ranked: list[tuple[int, int, Target]] = []
    for index, field in enumerate(fields):
        name = field.strip().casefold()
        target = own[name] if name in own else default_target(labels[index] if labels else field)
        if target is not None:
            rank = 0 if name in own else 1 if name == target.channel else 2
            ranked.append((rank, index, target))
    chosen: dict[int, Target] = {}
    filled: dict[str, int] = {}
    for rank, index, target in sorted(ranked, key=lambda entry: entry[:2]):
        taken = filled.setdefault(target.channel, rank)
        if target.channel not in {other.channel for other in chosen.values()}:
            chosen[index] = target
        elif rank == taken and rank < 2:
            faults.append(Fault(file, fields[index], "a second column", f"one column for {target.channel}"))
    return chosen, faults

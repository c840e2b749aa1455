"""A mapping as a document that a studio edits by page or API, and remembers for a device.

    {"schema": "field-mapping/1", "fields": [
        {"field": "Speed", "channel": "speed_mps", "unit": "km/h"},
        {"field": "sensor 1", "channel": "airspeed_mps", "scale": 0.1, "offset": 2},
        {"field": "power", "channel": null}]}

A unit stands for its factor; `null` leaves a field unread. What the readers take (`mapping.py`) comes out of
`parse_mapping_document`, and goes back in by `mapping_document`.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from analysis.readers.channels import CHANNELS, TIME
from analysis.readers.faults import Fault, Refused, shown
from analysis.readers.mapping import UNITS, Target, parse_mapping

SCHEMA = "field-mapping/1"
LABEL = "mapping"
MOST_FIELDS, MOST_LETTERS = 500, 200
Rules = Mapping[str, str]
Own = Rules | Callable[[str], Rules | None] | None
"""A studio's own reading of fields: the rules, or what knows the rules of a device by its key."""
KEYS = {"field", "channel", "unit", "scale", "offset"}
CHANNEL_ALLOWED = f"null, or one of {', '.join((*CHANNELS, TIME))}"


def parse_mapping_document(document: object) -> dict[str, str]:
    """Check a mapping document and give the readers' mapping. Raises `Refused` with every fault."""
    if not isinstance(document, dict) or document.get("schema") != SCHEMA:
        given = shown(document.get("schema")) if isinstance(document, dict) else type(document).__name__
        raise Refused([Fault(LABEL, "schema", given, f"an object with 'schema': '{SCHEMA}'")])
    faults = [
        Fault(LABEL, shown(key), "an unknown key", "schema, fields")
        for key in sorted(set(document) - {"schema", "fields"})
    ]
    entries = document.get("fields")
    if not isinstance(entries, list) or len(entries) > MOST_FIELDS:
        given = f"{len(entries)} fields" if isinstance(entries, list) else type(entries).__name__
        raise Refused([*faults, Fault(LABEL, "fields", given, f"a list of at most {MOST_FIELDS} fields")])
    rules: dict[str, str] = {}
    for at, entry in enumerate(entries):
        found = _entry_faults(f"fields[{at}]", entry)
        faults += found
        if not found:
            rules[entry["field"].strip()] = _rule(entry)
    faults += _doubled([entry for entry in entries if isinstance(entry, dict)])
    if faults:
        raise Refused(faults)
    return rules


def mapping_document(rules: Mapping[str, str]) -> dict[str, Any]:
    """Write the readers' mapping as a document, with units where a factor is one's."""
    targets, faults = parse_mapping(rules)
    if faults:
        raise Refused(faults)
    entries = [_entry(field.strip(), targets[field.strip().casefold()]) for field in rules]
    return {"schema": SCHEMA, "fields": entries}


def described(rules: Mapping[str, str]) -> list[str]:
    """Say each rule in a sentence."""
    return [_sentence(entry) for entry in mapping_document(rules)["fields"]]


def device_key(device: Mapping[str, Any]) -> str:
    """Name a device so that its next file is known again: by maker, product and serial, else by its columns.

    Software versions are left out: an update makes no other device. A text without any device facts is known by its
    header, which the program that wrote it repeats.
    """
    files = device.get("file") or [{}]
    facts = {
        key: files[0][key] for key in ("manufacturer", "product", "product_name", "serial_number") if key in files[0]
    }
    known = facts if facts else {"columns": sorted(name.strip().casefold() for name in device.get("columns", ()))}
    text = json.dumps(known, sort_keys=True, ensure_ascii=True)
    return "device-" + hashlib.sha256(text.encode()).hexdigest()[:24]


def rules_of(own: Own, device: Mapping[str, Any]) -> Rules:
    """Give the rules that hold for a device; none where the studio has none."""
    return (own(device_key(device)) if callable(own) else own) or {}


def _entry_faults(key: str, entry: object) -> list[Fault]:
    if not isinstance(entry, dict):
        return [Fault(LABEL, key, type(entry).__name__, "an object with field and channel")]
    allowed = ", ".join(sorted(KEYS))
    faults = [Fault(LABEL, f"{key}.{name}", "an unknown key", allowed) for name in sorted(set(map(str, entry)) - KEYS)]
    field, channel = entry.get("field"), entry.get("channel")
    if not isinstance(field, str) or not 0 < len(field.strip()) <= MOST_LETTERS:
        faults.append(Fault(LABEL, f"{key}.field", shown(field), f"a name of 1 to {MOST_LETTERS} letters"))
    if "channel" not in entry or (channel is not None and (not isinstance(channel, str) or channel not in UNITS)):
        given = shown(channel) if "channel" in entry else "nothing"
        return [*faults, Fault(LABEL, f"{key}.channel", given, CHANNEL_ALLOWED)]
    factors = [name for name in ("unit", "scale", "offset") if entry.get(name) is not None]
    if channel is None:
        return faults + [
            Fault(LABEL, f"{key}.{name}", shown(entry[name]), "nothing: it is left unread") for name in factors
        ]
    return faults + _factor_faults(key, entry, channel, factors)


def _factor_faults(key: str, entry: Mapping[str, Any], channel: str, factors: Sequence[str]) -> list[Fault]:
    faults = []
    units = UNITS[channel]
    unit = entry.get("unit")
    if unit is not None and (not isinstance(unit, str) or unit.strip().casefold() not in units):
        faults.append(Fault(LABEL, f"{key}.unit", shown(unit), ", ".join(units) or "no unit: it is a count"))
    if unit is not None and len(factors) > 1:
        faults.append(Fault(LABEL, key, "a unit and a scale or offset", "one of the two"))
    for name in ("scale", "offset"):
        value = entry.get(name)
        if value is not None and not _finite(value):
            faults.append(Fault(LABEL, f"{key}.{name}", shown(value), "a number"))
    if _finite(entry.get("scale")) and entry["scale"] == 0:
        faults.append(Fault(LABEL, f"{key}.scale", "0", "a number that keeps the values apart"))
    return faults


def _finite(value: object) -> bool:
    try:
        return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    except OverflowError:  # an integer beyond every float
        return False


def _doubled(entries: Sequence[Mapping[str, Any]]) -> list[Fault]:
    """One field goes to one channel, and one channel comes from one field."""
    names = Counter(entry["field"].strip().casefold() for entry in entries if isinstance(entry.get("field"), str))
    channels = Counter(entry["channel"] for entry in entries if isinstance(entry.get("channel"), str))
    return [Fault(LABEL, shown(name), f"named {count} times", "once") for name, count in names.items() if count > 1] + [
        Fault(LABEL, shown(name), f"filled from {count} fields", "one field")
        for name, count in channels.items()
        if count > 1
    ]


def _rule(entry: Mapping[str, Any]) -> str:
    if entry["channel"] is None:
        return ""
    scale, offset = float(entry.get("scale") or 1.0), float(entry.get("offset") or 0.0)
    if entry.get("unit") is not None:
        scale, offset = UNITS[entry["channel"]][entry["unit"].strip().casefold()]
    factor = "" if scale == 1.0 else f"*{scale!r}"
    return str(entry["channel"]) + factor + ("" if offset == 0.0 else f"{offset:+}")


def _entry(field: str, target: Target | None) -> dict[str, Any]:
    if target is None:
        return {"field": field, "channel": None}
    entry: dict[str, Any] = {"field": field, "channel": target.channel}
    if (target.scale, target.offset) == (1.0, 0.0):
        return entry
    units = [unit for unit, factors in UNITS[target.channel].items() if factors == (target.scale, target.offset)]
    if units:
        return {**entry, "unit": units[0]}
    return {**entry, "scale": target.scale, "offset": target.offset}


def _sentence(entry: Mapping[str, Any]) -> str:
    field, channel = shown(entry["field"]), entry["channel"]
    if channel is None:
        return f"{field} is left unread."
    if "unit" in entry:
        return f"{field} is read as {channel} from {entry['unit']}."
    if "scale" in entry:
        return f"{field} is read as {channel}: value times {entry['scale']:g} plus {entry['offset']:g}."
    return f"{field} is read as {channel}."

"""`session.json`: read safely, checked whole, and brought to one canonical form.

The shape is `schema.py`; here are the sense of the values and the ties between them. Recordings are not looked into.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from datetime import UTC, date, tzinfo
from typing import Any

from analysis.core.types import Warning
from analysis.readers.archive import NAME_ALLOWED, safe_name
from analysis.readers.faults import Fault, Refused, shown
from analysis.readers.ranges import DEEPEST, YEARS, crowd_faults, letter_faults, range_faults, walk
from analysis.readers.samples import note
from analysis.readers.schema import BUNDLE, joined, shape_faults
from analysis.readers.times import known_zone, parse_time

LONGEST = 20_000  # characters of one text
TOO_DEEP = "very deep nesting"
LARGEST = 1e15  # whole numbers beyond lose digits in other programs
ZONED = "ISO 8601 date and time with zone, such as 2026-05-09T08:10:00Z"


def parse_document(file: str, data: bytes) -> dict[str, Any]:
    """Read the JSON text and check it whole; raises `Refused` with every fault found."""
    document, faults = checked_document(file, data)
    if faults:
        raise Refused(faults)
    return document


def checked_document(file: str, data: bytes) -> tuple[dict[str, Any], list[Fault]]:
    """Read the JSON text and check it whole: the document and its faults.

    Where there are faults of shape, the document is only its sound part: the sense of what is left is checked too, so
    that one look tells everything. Raises `Refused` where the text is no JSON object.
    """
    document = _loaded(file, data)
    hygiene = _hygiene(file, document)
    if any(fault.given == TOO_DEEP for fault in hygiene):
        raise Refused(hygiene)  # what walks down the document below would run out of stack
    if crowds := crowd_faults(file, document):
        raise Refused([*hygiene, *crowds])
    shape = shape_faults(file, document)
    if not isinstance(document, dict):
        raise Refused([*hygiene, *shape])
    sound = _without(document, {fault.key for fault in (*hygiene, *shape)})
    assert isinstance(sound, dict)
    sense = [
        *range_faults(file, sound),
        *letter_faults(file, sound),
        *_time_faults(file, sound),
        *_tie_faults(file, sound),
    ]
    return sound, [*hygiene, *shape, *sense]


def _without(value: object, faulty: set[str], path: str = "") -> object:
    """The same with None for what is faulty, so that places keep their numbers."""
    if path in faulty:
        return None
    if isinstance(value, dict):
        return {key: _without(entry, faulty, joined(path, key)) for key, entry in value.items()}
    if isinstance(value, list):
        return [_without(entry, faulty, f"{path}[{at}]") for at, entry in enumerate(value)]
    return value


def _entries(document: Mapping[str, Any], key: str) -> list[tuple[int, Mapping[str, Any]]]:
    """The sound entries of a list of the document, each with its place."""
    return [(at, entry) for at, entry in enumerate(document.get(key) or ()) if entry is not None]


def recording_names(document: Mapping[str, Any]) -> list[tuple[int, str]]:
    """Which recording each run names, with the run's place; only names that could be a file's."""
    named = [(at, run.get("recording")) for at, run in _entries(document, "runs")]
    return [(at, name) for at, name in named if name is not None and safe_name(name)]


def _loaded(file: str, data: bytes) -> object:
    doubles: list[str] = []

    def pairs(entries: list[tuple[str, Any]]) -> dict[str, Any]:
        doubles.extend(key for key, count in Counter(key for key, _ in entries).items() if count > 1)
        return dict(entries)

    def constant(text: str) -> float:
        raise ValueError(f"{text}, which is no number of JSON")

    try:
        document = json.loads(data.decode("utf-8-sig"), object_pairs_hook=pairs, parse_constant=constant)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise Refused([Fault(file, "file", "bytes that are no UTF-8", "JSON in UTF-8", line)]) from None
    except RecursionError:
        raise Refused([Fault(file, "file", TOO_DEEP, f"at most {DEEPEST} levels")]) from None
    except json.JSONDecodeError as error:
        raise Refused([Fault(file, "file", error.msg, "JSON", error.lineno)]) from None
    except ValueError as error:
        # Python's own words about a number of thousands of digits tell a fitter nothing.
        given = str(error) if "no number of JSON" in str(error) else "a number of thousands of digits"
        raise Refused([Fault(file, "file", given, "JSON with finite numbers")]) from None
    if doubles:
        raise Refused([Fault(file, key, "the key twice in one object", "once") for key in doubles])
    return document


def _hygiene(file: str, document: object) -> list[Fault]:
    """What no key may hold, known or not: it could not be stored or given back."""
    faults = []
    for path, value, depth in walk(document):
        if depth > DEEPEST:
            return [Fault(file, path[:80], TOO_DEEP, f"at most {DEEPEST} levels")]
        if isinstance(value, dict):
            faults += [
                Fault(file, joined(path, shown(key)), "a key", "a printable text") for key in value if not _text(key)
            ]
        elif isinstance(value, str) and not _text(value):
            faults.append(Fault(file, path, shown(value), f"at most {LONGEST} characters, no control signs"))
        elif isinstance(value, int | float) and not abs(value) <= LARGEST:  # also infinity
            faults.append(Fault(file, path, "a huge number", f"at most {LARGEST:g}"))
    return faults


def _text(value: str) -> bool:
    """Whether a text can be stored: no NUL, no half of a surrogate pair, not endless."""
    return len(value) <= LONGEST and "\0" not in value and not any("\ud800" <= sign <= "\udfff" for sign in value)


def _time_faults(file: str, document: Mapping[str, Any]) -> list[Fault]:
    session = document.get("session") or {}
    faults = _date_faults(file, session.get("date"))
    zone = session.get("timezone")
    if zone is not None and known_zone(zone) is None:
        faults.append(Fault(file, "session.timezone", shown(zone), "an IANA time zone such as Atlantic/Azores"))
    for at, reading in _entries(document, "weather"):
        if reading.get("time") is not None and _zoned(reading["time"]) is None:
            faults.append(Fault(file, f"weather[{at}].time", shown(reading["time"]), ZONED))
    for at, run in _entries(document, "runs"):
        ends = [run[key] for key in ("from", "to") if run.get(key) is not None]
        bad = [key for key in ("from", "to") if run.get(key) is not None and not _zoned(run[key])]
        faults += [Fault(file, f"runs[{at}].{key}", shown(run[key]), ZONED) for key in bad]
        if len(ends) == 2 and not bad and parse_time(ends[0], UTC)[0] >= parse_time(ends[1], UTC)[0]:
            faults.append(Fault(file, f"runs[{at}].to", shown(ends[1]), f"later than from, {ends[0]}"))
        if ends and run.get("lap") is not None:
            faults.append(Fault(file, f"runs[{at}].lap", "lap beside from or to", "one way to cut the recording"))
    return faults


def _date_faults(file: str, day: str | None) -> list[Fault]:
    if day is None:
        return []
    try:
        fits = re.fullmatch(r"\d{4}-\d\d-\d\d", day, re.ASCII) and YEARS[0] <= date.fromisoformat(day).year <= YEARS[1]
    except ValueError:
        fits = False
    return [] if fits else [Fault(file, "session.date", shown(day), "a date such as 2026-05-09")]


def _zoned(text: str) -> bool | None:
    """Whether a time has a zone; None where it is no time."""
    try:
        return not parse_time(text, UTC)[1]
    except (ValueError, OverflowError):
        return None


def _tie_faults(file: str, document: Mapping[str, Any]) -> list[Fault]:
    """What must agree between the parts: labels, numbers, references, names of recordings."""
    setups, runs = _entries(document, "setups"), _entries(document, "runs")
    labels = [(at, setup["label"]) for at, setup in setups if setup.get("label") is not None]
    numbers = [(at, run["number"]) for at, run in runs if run.get("number") is not None]
    faults = [
        Fault(file, f"setups[{at}].label", shown(label), "a label of its own for each setup")
        for at, label in _repeated(labels) + [(at, label) for at, label in labels if not label.strip()]
    ]
    references = [at for at, setup in setups if setup.get("reference")]
    faults += [Fault(file, f"setups[{at}].reference", "a second reference", "one reference") for at in references[1:]]
    faults += [
        Fault(file, f"runs[{at}].number", shown(number), "a number of its own for each run")
        for at, number in _repeated(numbers)
    ]
    for at, run in runs:
        faults += _run_faults(file, f"runs[{at}]", run, list(dict.fromkeys(label for _, label in labels)))
    code = (document.get("rider") or {}).get("code")
    if code is not None and not code.strip():
        faults.append(Fault(file, "rider.code", shown(code), "the rider's code"))
    bike = (document.get("bike") or {}).get("name")
    if bike is not None and not bike.strip():
        faults.append(Fault(file, "bike.name", shown(bike), "what the bike is called"))
    return faults


def _repeated(values: list[tuple[int, Any]]) -> list[tuple[int, Any]]:
    """The later ones of equal values."""
    seen: set[object] = set()
    return [(at, value) for at, value in values if value in seen or seen.add(value)]  # type: ignore[func-returns-value]  # add gives None


def _run_faults(file: str, path: str, run: Mapping[str, Any], labels: list[str]) -> list[Fault]:
    faults = []
    setup, recording, reason = run.get("setup"), run.get("recording"), run.get("left_out")
    if setup is not None and labels and setup not in labels:
        allowed = "a setup of this session: " + ", ".join(shown(label) for label in labels)
        faults.append(Fault(file, f"{path}.setup", shown(setup), allowed))
    if recording is not None and not safe_name(recording):
        faults.append(Fault(file, f"{path}.recording", shown(recording), NAME_ALLOWED))
    if reason is not None and not reason.strip():
        faults.append(Fault(file, f"{path}.left_out", "an empty reason", "the reason in words, or no such key"))
    return faults


def unknown_keys(document: Mapping[str, Any]) -> tuple[Warning, ...]:
    """Note the keys that the published schema does not name; they are kept with the session."""
    found = sorted({re.sub(r"\[\d+\]", "[]", path) for path in _unknown(document, BUNDLE, "")})
    if not found:
        return ()
    what = f"session.json has keys that mean nothing here: {', '.join(found)}."
    return (note("unknown_key", what, "They are kept with the session; correct a misspelt key and import again."),)


def _unknown(value: object, schema: Mapping[str, Any], path: str) -> Iterator[str]:
    if isinstance(value, dict):
        properties, others = schema.get("properties", {}), schema.get("additionalProperties", True)
        for key, entry in value.items():
            if key in properties:
                yield from _unknown(entry, properties[key], joined(path, key))
            elif not isinstance(others, dict):
                yield joined(path, key)
    elif isinstance(value, list):
        for at, entry in enumerate(value):
            yield from _unknown(entry, schema.get("items", {}), f"{path}[{at}]")


def normalised(document: Mapping[str, Any]) -> dict[str, Any]:
    """Bring a checked document to the form in which two of them are compared.

    Nulls and empty texts, lists and objects go; whole numbers lose their point; times become UTC; every setup says
    whether it is the reference; runs stand by number, weather by time, the reference before the other setups by label,
    keys by name. Unknown keys are kept. Doing it twice changes nothing.
    """
    setups = document["setups"]
    first = next((setup["label"] for setup in setups if setup.get("reference")), setups[0]["label"])
    zone = known_zone(document["session"]["timezone"]) or UTC
    plain = dict(document)
    plain["setups"] = sorted(
        ({**setup, "reference": setup["label"] == first} for setup in setups),
        key=lambda setup: (not setup["reference"], setup["label"]),
    )
    runs = [{**run, **_utc(run, ("from", "to"), zone)} for run in document["runs"]]
    plain["runs"] = sorted(runs, key=lambda run: run["number"])
    weather = [{**reading, **_utc(reading, ("time",), zone)} for reading in document.get("weather") or ()]
    plain["weather"] = sorted(weather, key=lambda reading: reading["time"])
    pruned = _pruned(plain)
    assert isinstance(pruned, dict)
    return pruned


def _utc(entry: Mapping[str, Any], keys: tuple[str, ...], zone: tzinfo) -> dict[str, str]:
    times = {key: parse_time(entry[key], zone)[0] for key in keys if entry.get(key) is not None}
    return {key: moment.isoformat().replace("+00:00", "Z") for key, moment in times.items()}


def _pruned(value: object) -> object:
    if isinstance(value, dict):
        entries = {key: _pruned(value[key]) for key in sorted(value)}
        return {key: entry for key, entry in entries.items() if entry is not None and entry not in ("", [], {})}
    if isinstance(value, list):
        return [_pruned(entry) for entry in value]
    if isinstance(value, float) and value.is_integer():
        return int(value)
    return value

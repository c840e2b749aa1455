"""What a bicycle, a rider and a day outdoors can be: the ranges of a bundle's numbers, and how many entries it has.

A record made by hand keeps to the same, or its export could not come in again.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from analysis.readers.faults import Fault, shown
from analysis.readers.schema import joined

DEEPEST = 24

# What a bicycle and a rider outdoors can be, with room to spare; common practice, no source.
RANGES: Mapping[str, tuple[float, float]] = {
    "rider.height_cm": (50, 260),
    "rider.mass_kg": (15, 300),
    "bike.mass_kg": (2, 100),
    "bike.wheel_circumference_m": (0.8, 3),
    "bike.wheel_inertia_kg_m2": (0, 2),
    "system_mass_kg": (20, 500),
    "course.length_m": (20, 200_000),
    "course.bearing_deg": (-360, 360),
    "assumed.crr": (0.0005, 0.05),
    "assumed.drivetrain_efficiency": (0.7, 1),
    "smallest_difference_m2": (1e-5, 0.1),
    "repeatability.sd_m2": (0, 0.1),
    "repeatability.df": (0, 100_000),
    "weather[].temperature_c": (-45, 60),
    "weather[].pressure_hpa": (500, 1100),
    "weather[].humidity_pct": (0, 100),
    "setups[].system_mass_kg": (20, 500),
    "setups[].bottles": (0, 20),
    "setups[].tyre_pressure_kpa.*": (30, 2000),
    "setups[].position.*": (-10_000, 10_000),
    "runs[].system_mass_kg": (20, 500),
    "runs[].number": (1, 100_000),
    "runs[].lap": (1, 100_000),
}

# More than any day at the roadside; an import enters every one of them in one transaction, and others wait for it.
MOST: Mapping[str, int] = {"runs": 400, "setups": 40, "weather": 5000, "setups[].items": 24, "setups[].position": 60}
YEARS = (1990, 2100)  # of a session's date
# How long a text may be: what the records hold, so that no session is analysed here and refused there.
LETTERS: Mapping[str, int] = {
    "session.title": 300,
    "session.timezone": 64,
    "session.fitter": 200,
    "rider.code": 60,
    "bike.name": 200,
    "bike.kind": 60,
    "bike.frame": 200,
    "bike.size": 60,
    "course.name": 200,
    "course.surface": 120,
    "setups[].label": 60,
    "setups[].clothing": 300,
    "setups[].items.*": 200,
    "runs[].left_out": 300,
}
SLOT_LETTERS = 60


def range_faults(file: str, value: object, path: str = "") -> list[Fault]:
    """Every number in what stands at `path` that is out of its range."""
    faults = []
    for place, number, _ in walk(value, path):
        if isinstance(number, bool) or not isinstance(number, int | float):
            continue
        general = re.sub(r"\[\d+\]", "[]", place)
        limits = RANGES.get(general) or RANGES.get(general.rpartition(".")[0] + ".*")
        if limits and not limits[0] <= number <= limits[1]:
            faults.append(Fault(file, place, shown(number), f"{limits[0]:g} to {limits[1]:g}"))
    return faults


def letter_faults(file: str, value: object, path: str = "") -> list[Fault]:
    """Every text in what stands at `path` that is longer than the records hold, names of slots too."""
    faults = []
    for place, text, _ in walk(value, path):
        general = re.sub(r"\[\d+\]", "[]", place)
        if general == "setups[].items" and isinstance(text, dict):
            long = [slot for slot in text if len(slot) > SLOT_LETTERS]
            faults += [Fault(file, place, shown(slot), f"slots of at most {SLOT_LETTERS} characters") for slot in long]
        most = LETTERS.get(general) or LETTERS.get(general.rpartition(".")[0] + ".*")
        if most is not None and isinstance(text, str) and len(text) > most:
            faults.append(Fault(file, place, f"{len(text)} characters", f"at most {most} characters"))
    return faults


def crowd_faults(file: str, value: object, path: str = "") -> list[Fault]:
    """Every list or object in what stands at `path` that has too many entries."""
    faults = []
    for place, entries, _ in walk(value, path):
        most = MOST.get(re.sub(r"\[\d+\]", "[]", place))
        if most is not None and isinstance(entries, dict | list) and len(entries) > most:
            faults.append(Fault(file, place, f"{len(entries)} entries", f"at most {most}"))
    return faults


def walk(value: object, path: str = "", depth: int = 0) -> Iterator[tuple[str, object, int]]:
    """Everything in a value with its path and depth, no deeper than one level beyond what is allowed."""
    yield path, value, depth
    if depth > DEEPEST:
        return
    if isinstance(value, dict):
        for key, entry in value.items():
            yield from walk(entry, joined(path, key), depth + 1)
    elif isinstance(value, list):
        for at, entry in enumerate(value):
            yield from walk(entry, f"{path}[{at}]", depth + 1)

"""From a checked document and its recordings to the estimator's terms: runs cut, units SI, notes in their place."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import UTC, timedelta
from typing import Any

import numpy as np

from analysis.core import types
from analysis.core.types import Array, Warning
from analysis.readers.archive import canonical
from analysis.readers.document import unknown_keys
from analysis.readers.doubles import Ridden, doubles
from analysis.readers.faults import Fault, Refused
from analysis.readers.samples import Recording, note
from analysis.readers.times import known_zone, micros, parse_time

DOCUMENT = "session.json"
PAUSE_S = 60.0  # between recordings without a clock, which are taken to follow each other
EDGE_S = 10.0  # by which a run may stick out of its recording before that is noted
ZERO_CELSIUS_K = 273.15
FACTORS = ("position", "tyre_pressure_kpa", "clothing", "bottles")


def _scaled(scale: float, offset: float = 0.0) -> Callable[[Array], Array]:
    return lambda values: values * scale + offset


SI: dict[str, tuple[str, Callable[[Array], Array]]] = {
    "latitude_deg": ("latitude_rad", np.deg2rad),
    "longitude_deg": ("longitude_rad", np.deg2rad),
    "altitude_m": ("altitude_m", _scaled(1)),
    "distance_m": ("distance_m", _scaled(1)),
    "speed_mps": ("speed_mps", _scaled(1)),
    "power_w": ("power_w", _scaled(1)),
    "cadence_rpm": ("cadence_rad_s", _scaled(2 * math.pi / 60)),
    "airspeed_mps": ("airspeed_mps", _scaled(1)),
    "yaw_deg": ("yaw_rad", np.deg2rad),
    "tilt_deg": ("tilt_rad", np.deg2rad),
    "temperature_c": ("temperature_k", _scaled(1, ZERO_CELSIUS_K)),
    "pressure_hpa": ("pressure_pa", _scaled(100)),
    "humidity_pct": ("humidity", lambda values: np.minimum(values * 0.01, 1.0)),  # sensors in fog read a little over
}


def core_session(
    document: Mapping[str, Any], recordings: Mapping[str, Recording], *, questions: types.Questions | None = None
) -> types.Session:
    """Translate a session; `recordings` go by the name that the runs give.

    Raises `Refused` for every run outside its recording, or cut from the samples of another.
    """
    by_name = {canonical(name): recording for name, recording in recordings.items()}
    entries = sorted(document["runs"], key=lambda run: run["number"])
    cuts, faults, notes = _cuts(document, entries, by_name)
    if faults:
        raise Refused(faults)
    starts, clock_notes = _starts(entries, by_name)
    zeros = [starts[canonical(run["recording"])] for run in entries]
    faults, double_notes = doubles(DOCUMENT, _counted(document, entries, cuts, zeros, by_name))
    if faults:
        raise Refused(faults)
    epoch = min(zero + _micros(cut.time_s[0]) for zero, cut in zip(zeros, cuts, strict=True))
    runs = tuple(_run(run, cut, (zero - epoch) / 1e6) for run, cut, zero in zip(entries, cuts, zeros, strict=True))
    clocked = any(by_name[canonical(run["recording"])].start for run in entries)
    weather, weather_notes = _weather(document, epoch if clocked else None)
    found = _reader_notes(entries, by_name)
    notes = [*unknown_keys(document), *found, *clock_notes, *double_notes, *weather_notes, *notes]
    return _session(document, runs, weather, questions or types.Questions(), tuple(dict.fromkeys(notes)))


class _Cut:
    """The samples of one run, still on the recording's clock and in file units."""

    def __init__(self, recording: Recording, keep: np.ndarray[Any, np.dtype[np.bool_]]) -> None:
        self.time_s = recording.time_s[keep]
        self.columns = {name: values[keep] for name, values in recording.columns.items()}


def _cuts(
    document: Mapping[str, Any], entries: list[Mapping[str, Any]], recordings: Mapping[str, Recording]
) -> tuple[list[_Cut], list[Fault], list[Warning]]:
    cuts, faults, notes = [], [], []
    at = {id(run): index for index, run in enumerate(document["runs"])}
    for run in entries:
        key = f"runs[{at[id(run)]}]"
        recording = recordings.get(canonical(run["recording"]))
        if recording is None:
            faults.append(Fault(DOCUMENT, f"{key}.recording", run["recording"], "a recording that was handed in"))
            continue
        keep, fault, edge = _inside(run, recording, key)
        if fault is None and not keep.any():
            fault = Fault(DOCUMENT, key, "a run outside its recording", _extent(run["recording"], recording))
        if fault:
            faults.append(fault)
            continue
        cuts.append(_Cut(recording, keep))
        notes += edge
    return cuts, faults, notes


def _inside(
    run: Mapping[str, Any], recording: Recording, key: str
) -> tuple[np.ndarray[Any, np.dtype[np.bool_]], Fault | None, list[Warning]]:
    """Which samples belong to the run: from (inclusive) to (exclusive), or its lap, or all."""
    time_s = recording.time_s
    keep = np.ones(time_s.size, dtype=bool)
    if run.get("lap") is not None:
        lap = next((lap for lap in recording.laps if lap.number == run["lap"]), None)
        if lap is None:
            numbers = ", ".join(str(lap.number) for lap in recording.laps[:50]) or "none: cut by from and to"
            return keep, Fault(DOCUMENT, f"{key}.lap", str(run["lap"]), f"a lap of {run['recording']}: {numbers}"), []
        return (time_s >= lap.start_s) & (time_s < lap.end_s), None, []
    ends = {name: parse_time(run[name], UTC)[0] for name in ("from", "to") if run.get(name) is not None}
    if not ends:
        return keep, None, []
    if recording.start is None:
        given = f"{run['recording']}, which has seconds and no clock times"
        return keep, Fault(DOCUMENT, f"{key}.{next(iter(ends))}", given, "a recording with clock times, or lap"), []
    seconds = {name: (moment - recording.start) / timedelta(seconds=1) for name, moment in ends.items()}
    # A microsecond of room: both are decimal fractions of a second rounded to binary ones.
    keep &= time_s >= seconds.get("from", -math.inf) - 1e-6
    keep &= time_s < seconds.get("to", math.inf) - 1e-6
    late, early = time_s[0] - seconds.get("from", math.inf), seconds.get("to", -math.inf) - time_s[-1]
    if max(late, early) <= EDGE_S:
        return keep, None, []
    what = f"Run {run['number']} reaches {max(late, early):.0f} s beyond {run['recording']}."
    found = replace(
        note("gaps", what, "Correct from and to, or copy the whole recording."), where=f"run {run['number']}"
    )
    return keep, None, [found]


def _counted(
    document: Mapping[str, Any],
    entries: list[Mapping[str, Any]],
    cuts: list[_Cut],
    zeros: list[int],
    recordings: Mapping[str, Recording],
) -> list[Ridden]:
    """The runs that are not left out, as `doubles.py` looks at them."""
    at = {id(run): index for index, run in enumerate(document["runs"])}
    return [
        Ridden(
            key=f"runs[{at[id(run)]}]",
            number=int(run["number"]),
            recording=canonical(run["recording"]),
            clocked=recordings[canonical(run["recording"])].start is not None,
            time_us=zero + cut.time_s * 1e6,
            samples=cut.columns,
        )
        for run, cut, zero in zip(entries, cuts, zeros, strict=True)
        if run.get("left_out") is None
    ]


def _extent(name: str, recording: Recording) -> str:
    if recording.start is None:
        return f"within {name}, {recording.time_s[0]:g} s to {recording.time_s[-1]:g} s"
    first, last = (recording.start + timedelta(seconds=float(recording.time_s[at])) for at in (0, -1))
    return f"within {name}, {first:%Y-%m-%dT%H:%M:%SZ} to {last:%Y-%m-%dT%H:%M:%SZ}"


def _starts(
    entries: list[Mapping[str, Any]], recordings: Mapping[str, Recording]
) -> tuple[dict[str, int], list[Warning]]:
    """Microseconds since 1970 at which each recording's own clock is zero; without a clock one follows the other."""
    starts: dict[str, int] = {}
    unclocked: list[str] = []
    clocked = [(recording.start, recording.time_s[-1]) for recording in recordings.values() if recording.start]
    end = max((micros(start) + _micros(last) for start, last in clocked), default=0)
    for run in entries:
        name = canonical(run["recording"])
        recording = recordings[name]
        if name in starts:
            continue
        if recording.start is not None:
            starts[name] = micros(recording.start)
            continue
        starts[name] = end + _micros(PAUSE_S) - _micros(recording.time_s[0])
        end = starts[name] + _micros(recording.time_s[-1])
        unclocked.append(name)
    if not unclocked:
        return starts, []
    what = f"{', '.join(unclocked)}: seconds without a clock time; taken to follow each other {PAUSE_S:g} s apart."
    do = "Export times with date and zone: drift over the day cannot be told without them."
    return starts, [note("zone_assumed", what, do)]


def _micros(seconds: float) -> int:
    return round(float(seconds) * 1e6)


def _run(entry: Mapping[str, Any], cut: _Cut, shift: float) -> types.Run:
    arrays = {
        name: convert(cut.columns[key])
        for key, (name, convert) in SI.items()
        if key in cut.columns and np.isfinite(cut.columns[key]).any()
    }
    return types.Run(
        number=int(entry["number"]),
        setup=entry["setup"],
        channels=types.Channels(time_s=cut.time_s + shift, **arrays),
        system_mass_kg=entry.get("system_mass_kg"),
        left_out=entry.get("left_out"),
    )


def _weather(document: Mapping[str, Any], epoch: int | None) -> tuple[tuple[types.WeatherReading, ...], list[Warning]]:
    """Readings on the session's clock; without any clock the first reading is its start."""
    readings = document.get("weather") or ()
    zone = known_zone(document["session"]["timezone"]) or UTC
    parsed = [parse_time(reading["time"], zone) for reading in readings]
    times = [micros(moment) for moment, _ in parsed]
    zero = epoch if epoch is not None else min(times, default=0)
    translated = []
    for reading, time in zip(readings, times, strict=True):
        celsius, hpa, percent = (reading.get(key) for key in ("temperature_c", "pressure_hpa", "humidity_pct"))
        translated.append(
            types.WeatherReading(
                time_s=(time - zero) / 1e6,
                temperature_k=None if celsius is None else celsius + ZERO_CELSIUS_K,
                pressure_pa=None if hpa is None else hpa * 100.0,
                humidity=None if percent is None else percent / 100.0,
            )
        )
    found = []
    if any(assumed for _, assumed in parsed):
        what = f"Weather readings have no zone; {zone} was assumed."
        found.append(note("zone_assumed", what, "Write times with their zone, as in 2026-05-09T08:10:00Z."))
    return tuple(sorted(translated, key=lambda reading: reading.time_s)), found


def _reader_notes(entries: Iterable[Mapping[str, Any]], recordings: Mapping[str, Recording]) -> list[Warning]:
    """Put each reader's note where the recording's runs are."""
    runs: dict[str, list[int]] = {}
    for entry in entries:
        runs.setdefault(canonical(entry["recording"]), []).append(int(entry["number"]))
    everywhere = len(runs) == 1
    found = []
    for name, numbers in runs.items():
        for warning in recordings[name].notes:
            where = ["session"] if everywhere else _spans(numbers)
            found += [replace(warning, where=place) for place in where]
    return found


def _spans(numbers: list[int]) -> list[str]:
    """Name runs as `run 5` and `runs 5-8`, unbroken spans together."""
    places = []
    first = last = numbers[0]
    for number in [*numbers[1:], -1]:
        if number == last + 1:
            last = number
            continue
        places.append(f"run {first}" if first == last else f"runs {first}-{last}")
        first = last = number
    return places


def _setup(entry: Mapping[str, Any]) -> types.Setup:
    factors = {f"items.{slot}": name for slot, name in (entry.get("items") or {}).items() if name is not None}
    for key in FACTORS:
        value = entry.get(key)
        if isinstance(value, dict):
            value = {part: number for part, number in value.items() if number is not None} or None
        if value is not None:
            factors[key] = value
    return types.Setup(entry["label"], factors, entry.get("system_mass_kg"))


def _session(
    document: Mapping[str, Any],
    runs: tuple[types.Run, ...],
    weather: tuple[types.WeatherReading, ...],
    questions: types.Questions,
    notes: tuple[Warning, ...],
) -> types.Session:
    course, bike = document["course"], document["bike"]
    assumed, history = document.get("assumed") or {}, document.get("repeatability")
    bearing = course.get("bearing_deg")
    setups = document["setups"]
    given = {
        "crr": assumed.get("crr"),
        "drivetrain_efficiency": assumed.get("drivetrain_efficiency"),
        "smallest_difference_m2": document.get("smallest_difference_m2"),
    }
    wheel = {key: bike[key] for key in ("wheel_circumference_m", "wheel_inertia_kg_m2") if bike.get(key) is not None}
    return types.Session(
        runs=runs,
        setups=tuple(_setup(setup) for setup in setups),
        reference=next((setup["label"] for setup in setups if setup.get("reference")), setups[0]["label"]),
        course=types.Course(course["kind"], course.get("length_m"), None if bearing is None else math.radians(bearing)),
        bike=types.Bike(bike.get("mass_kg"), **wheel),
        rider_mass_kg=document["rider"].get("mass_kg"),
        system_mass_kg=document.get("system_mass_kg"),
        repeatability=None if history is None else types.Repeatability(history["sd_m2"], history["df"]),
        weather=weather,
        questions=questions,
        notes=notes,
        **{key: value for key, value in given.items() if value is not None},
    )

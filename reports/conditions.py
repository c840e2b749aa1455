"""Under which conditions was ridden, with what, and what was taken from outside: pairs of a name and a fact."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from reports.numerals import ABSENT, amount, plain, rounded, span

Pair = tuple[str, str]
_WEATHER = (("temperature_c", "\N{DEGREE SIGN}C"), ("pressure_hpa", "hPa"), ("humidity_pct", "% humidity"))


def conditions(facts: Mapping[str, Any]) -> list[Pair]:
    session, runs = facts["session"], facts["result"]["runs"]
    hours = f", {session['ridden'][0]} to {session['ridden'][1]}" if session["ridden"] else ""
    return [
        ("Ridden", f"{session['date']}{hours} ({session['timezone']})"),
        ("Place", _place(session["course"])),
        ("Air density", _over(runs, "air_density_kg_m3", "kg/m3", " kg/m\N{SUPERSCRIPT THREE}")),
        ("Speed", _over(runs, "mean_speed_mps", "km/h", " km/h, mean of a run", factor=3.6)),
        ("Wind angle", _over(runs, "mean_abs_yaw_deg", "deg", "\N{DEGREE SIGN}, mean of a run (yaw, without sign)")),
        ("Weather", _weather(session["weather"])),
        ("Runs", _runs(runs, facts["left_out"])),
        *([("Fitter", session["fitter"])] if session["fitter"] else []),
    ]


def _place(course: Mapping[str, Any]) -> str:
    parts = [course["name"], course["kind"]]
    if course["length_m"] is not None:
        parts.append(f"{plain(course['length_m'])} m{' one way' if course['kind'] == 'out and back' else ''}")
    if course["bearing_deg"] is not None:
        parts.append(f"bearing {plain(course['bearing_deg'])}\N{DEGREE SIGN}")
    return ", ".join(part for part in [*parts, course["surface"]] if part)


def _over(runs: Sequence[Mapping[str, Any]], key: str, unit: str, tail: str, *, factor: float = 1.0) -> str:
    values = [run[key] * factor for run in runs if run[key] is not None]
    return f"{span(values, unit)}{tail}" if values else ABSENT


def _weather(readings: Sequence[Mapping[str, Any]]) -> str:
    """Smallest and largest of the readings noted by the fitter."""
    parts = []
    for key, unit in _WEATHER:
        values = [r[key] for r in readings if isinstance(r.get(key), int | float)]
        if values:
            low, high = plain(min(values)), plain(max(values))
            parts.append(f"{low if low == high else f'{low} to {high}'} {unit}")
    return ", ".join(parts) if parts else "none noted by hand"


def _runs(runs: Sequence[Mapping[str, Any]], left_out: Mapping[str, str]) -> str:
    out = [str(run["number"]) for run in runs if run["cda_m2"] is None]
    text = f"{len(runs) - len(out)} of {len(runs)} used"
    named = ", ".join(f"{number} ({left_out[number]})" if number in left_out else number for number in out)
    return f"{text}; left out: {named}" if out else text


def entered(facts: Mapping[str, Any]) -> list[Pair]:
    """What the result rests on that was not measured in the session."""
    given, result = facts["session"]["entered"], facts["result"]
    names = {"system_mass_kg": "system mass {} kg", "crr": "rolling coefficient {}"}
    names["drivetrain_efficiency"] = "drivetrain efficiency {}"
    parts = [words.format(plain(given[key])) for key, words in names.items() if given[key] is not None]
    rows = [("Taken as given", ", ".join(parts) or "the method's own assumptions")]
    sensed = result["instruments"]
    found = [
        f"air-speed gain {rounded(sensed['airspeed_gain'], 3)}" if sensed["airspeed_gain"] is not None else "",
        f"rolling coefficient {amount(sensed['crr'], 'crr')}" if sensed["crr"] is not None else "",
    ]
    if any(found):
        rows.append(("Found with it", ", ".join(part for part in found if part)))
    return rows


def instruments(facts: Mapping[str, Any]) -> list[Pair]:
    listed = [_instrument(i) for i in facts["instruments"]]
    return [("Instruments", "; ".join(listed))] if listed else []


def _instrument(one: Mapping[str, Any]) -> str:
    name = " ".join(part for part in (one["kind"], one["name"], one["serial"]) if part)
    check = one["last_check"]
    return name if check is None else f"{name}, checked {check['done_on']}: {check['result']}"

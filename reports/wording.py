"""The sentences: a stored result in plain words for a reader without statistics. The report and the pages share them.

Numbers come in as they are stored and go out through `numerals.py`; nothing is computed here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from reports.numerals import NO_BREAK, PLACES, amount, difference, interval, plain, rounded, two_digits

WORDING = "plain-1"
SQUARE_METRES = "m\N{SUPERSCRIPT TWO}"
_UNIT_WORDS = {"m2": SQUARE_METRES, "W": "W", "s": "s"}

VERDICT_WORDS = {
    "faster": "Faster",
    "slower": "Slower",
    "equivalent": "Equal for practical purposes",
    "undecided": "Not decided",
    "invalid": "No answer",
}

CONVENTION = (
    "Drag area (CdA) is taken along the air flow (wind axis), side force neglected: force along travel = "
    "\N{VULGAR FRACTION ONE HALF} \N{GREEK SMALL LETTER RHO} CdA V a, with air density "
    "\N{GREEK SMALL LETTER RHO}, air speed V and its part a along travel."
)
NOTHING_COMPARED = "Only one setup was ridden, so there is nothing to compare: its drag area stands below."
SEVERAL_INTERVALS = (
    "In brackets the 95 % intervals: of drag areas for all comparisons together (simultaneous), of watts and seconds "
    "for each comparison by itself. Minus is less drag, less power, less time."
)
RUNS_CAPTION = (
    "Each sign is one run; its bar reaches two standard uncertainties to each side (k = 2), without what all runs "
    "share. Dashed lines and the signs at the right are the setups' means with 95 % intervals within the session. "
    "The scale does not begin at zero."
)
NO_RUN_USABLE = "No run gave a drag area, so there is nothing to draw."
NO_WARNINGS = "Nothing out of the ordinary was found in these recordings."
LEVEL_WORDS = {"note": "Note", "caution": "Caution", "invalid": "No answer"}
METHODS = {
    "joint": "one least-squares energy balance over all runs (joint); losses by Martin et al. 1998, air density by "
    "CIPM-2007"
}
ROUNDED = "Numbers are the stored ones, rounded once; all digits and the rule are in facts.json."
ITEMS_ONLY = "Relates only to the items tested."
NO_ACCREDITATION = "This report claims no accreditation."

CAUTIONS = (
    "Ride and test only where it is lawful and traffic allows, with eyes on the road.",
    "A position that costs control or breathing, or causes pain, is not faster.",
    "Pain and numbness go to a licensed clinician.",
    "Torque and fit limits are the maker's; tyre pressure never above the lower of the tyre's and the rim's limit.",
    "Racing rules are the federation's current ones. Local law and licensed practice come first.",
)


def setup_name(label: str) -> str:
    """A label in a sentence: short ones bare, longer ones in quotation marks."""
    return (
        f"setup{NO_BREAK}{label}"
        if len(label) <= 3
        else f"setup \N{LEFT DOUBLE QUOTATION MARK}{label}\N{RIGHT DOUBLE QUOTATION MARK}"
    )


def measured(value: float, unit: str, *, less: str = "less", more: str = "more") -> str:
    """A difference without a sign: `5.4 W less`."""
    size = f"{rounded(abs(value), PLACES[unit])}{NO_BREAK}{_UNIT_WORDS[unit]}"
    return f"{size} {less if value < 0 else more}"


def reach(ends: Sequence[float], unit: str) -> str:
    """An interval without signs: `3.1 to 7.6 W less`, or `3.7 W less to 0.8 W more`."""
    low, high = ends
    if low < 0 < high:
        return f"{measured(low, unit)} to {measured(high, unit)}"
    near, far = sorted((abs(low), abs(high)))
    return f"{rounded(near, PLACES[unit])} to {measured(far if low >= 0 else -far, unit)}"


def deciding_interval(comparison: Mapping[str, Any], *, several: bool) -> list[float] | None:
    """The 95 % interval that the verdict looked at: with several changed setups the simultaneous one."""
    ends: list[float] | None = comparison["ridden_simultaneous_ci95_m2" if several else "ridden_ci95_m2"]
    return ends


def headline(comparison: Mapping[str, Any]) -> str:
    """The verdict as a short heading."""
    return VERDICT_WORDS[comparison["verdict"]]


def answer(result: Mapping[str, Any], comparison: Mapping[str, Any]) -> str:
    """The answer in one sentence, with its interval in drag area, watts and seconds."""
    changed, reference = setup_name(comparison["changed"]), setup_name(comparison["reference"])
    verdict = comparison["verdict"]
    if verdict == "invalid":
        return f"This test gives no answer on {changed} against {reference}: its recordings cannot carry one."
    if comparison["ridden_delta_m2"] is None:
        return f"The test does not tell whether {changed} or {reference} is faster: no difference could be worked out."
    figures = _figures(comparison, several=len(result["comparisons"]) > 1)
    if verdict in {"faster", "slower"}:
        return _capital(f"{changed} is {verdict} than {reference}: {figures}.")
    if verdict == "equivalent":
        limit = amount(smallest_difference(result), "m2")
        return _capital(
            f"{changed} and {reference} are equal for practical purposes, their difference being smaller than the "
            f"{limit}{NO_BREAK}{SQUARE_METRES} that matter here: {changed} measured {figures}."
        )
    return f"The test does not tell whether {changed} or {reference} is faster: {changed} measured {figures}."


def _figures(comparison: Mapping[str, Any], *, several: bool) -> str:
    said = (
        "95 %: " if comparison["verdict"] == "equivalent" else ""
    )  # there the drag area's own interval is the 90 % one
    parts = [_drag_part(comparison, several=several)]
    parts += [
        _part(f"{measured(w['delta_w'], 'W')} at {plain(w['speed_kmh'])}{NO_BREAK}km/h", w["ci95_w"], "W", said)
        for w in comparison["watts"][:1]
        if w["delta_w"] is not None
    ]
    parts += [
        _part(f"{measured(t['delta_s'], 's')} over {ride(t)}", t["ci95_s"], "s", said)
        for t in comparison["time"][:1]
        if t["delta_s"] is not None
    ]
    return parts[0] if len(parts) == 1 else f"{parts[0]}, which is {' and '.join(parts[1:])}"


def _drag_part(comparison: Mapping[str, Any], *, several: bool) -> str:
    if comparison["verdict"] == "equivalent":
        ends, share = comparison["ridden_ci90_m2"], 90
    else:
        ends, share = deciding_interval(comparison, several=several), 95
    kind = resistance(comparison)
    size = measured(comparison["ridden_delta_m2"], "m2", less=f"less {kind}", more=f"more {kind}")
    if ends is None:
        return f"{size} (too few runs for an interval)"
    return f"{size} ({share}{NO_BREAK}% interval {reach(ends, 'm2')})"


def resistance(comparison: Mapping[str, Any]) -> str:
    """What the difference is a difference of."""
    return "drag area" if comparison["delta_crr"] is None else "resistance, written as drag area"


def _part(text: str, ends: Sequence[float] | None, unit: str, said: str) -> str:
    return text if ends is None else f"{text} ({said}{reach(ends, unit)})"


def ride(time: Mapping[str, Any]) -> str:
    """The ride that seconds are told for."""
    return f"{plain(time['distance_km'])}{NO_BREAK}km at {plain(time['power_w'])}{NO_BREAK}W"


def what_next(result: Mapping[str, Any], comparison: Mapping[str, Any]) -> str:
    """The sentence after the answer: what the reader may do with it. Empty where there is nothing to add."""
    verdict, runs = comparison["verdict"], comparison["more_runs_needed"]
    if verdict == "invalid":
        reasons = [w["what"] for w in result["warnings"] if w["level"] == "invalid"]
        return " ".join(f"{_capital(reason.rstrip('. '))}." for reason in reasons)
    if verdict == "undecided" and runs:
        return f"About {runs} more runs, both setups together, would probably decide it."
    if verdict == "undecided" and comparison["ridden_ci95_m2"] is None:
        return "Ride at least three runs of each setup: fewer do not tell how far chance reaches."
    if verdict == "undecided":
        return "More runs on the same day would hardly decide it; a test on further days may."
    if any(w["code"] == "confounded" for w in result["warnings"]) and len(comparison["changes"]) > 1:
        return "More than one thing changed, so the answer is for all of them together."
    return ""


def decision_rule(result: Mapping[str, Any]) -> str:
    """How a verdict is reached, and how often it errs."""
    limit = amount(smallest_difference(result), "m2")
    several = len(result["comparisons"]) > 1
    kind = "simultaneous 95 % interval (it holds for all comparisons together)" if several else "95 % interval"
    return (
        f"Decision rule: faster or slower when the {kind} leaves out zero (by chance in about 5 of 100 tests of equal "
        f"setups); else equal when the 90 % interval lies within \N{PLUS-MINUS SIGN}{limit} {SQUARE_METRES} (two "
        "one-sided tests at 5 %); else not decided. No answer when the recordings cannot carry one."
    )


def smallest_difference(result: Mapping[str, Any]) -> float | None:
    """The smallest difference worth having, as the analysis took it."""
    value: float | None = result.get("assumptions", {}).get("smallest_difference_m2")
    return value


def warning_sentence(warning: Mapping[str, Any]) -> str:
    """Where, what and what to do, as one short paragraph; the place once, where `what` begins with it already."""
    where, what = warning["where"], warning["what"].strip()
    named = where == "session" or what.lower().startswith(where.lower())
    parts = [f"{_capital(text.rstrip('.'))}." for text in (what, warning["do"].strip()) if text]
    return ("" if named else f"{_capital(where)}: ") + " ".join(parts)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def rolling_sentence(comparison: Mapping[str, Any]) -> str:
    """Drag and rolling told apart, where tyres or pressures changed."""
    parts = [f"drag area {difference(comparison['delta_cda_m2'], 'm2')} {SQUARE_METRES}"]
    if comparison["ci95_m2"]:
        parts[0] += f" (95 % interval {interval(comparison['ci95_m2'], 'm2')})"
    parts.append(f"rolling coefficient {difference(comparison['delta_crr'], 'crr')}")
    if comparison["ci95_crr"]:
        parts[1] += f" (95 % interval {interval(comparison['ci95_crr'], 'crr')})"
    changed, reference = setup_name(comparison["changed"]), setup_name(comparison["reference"])
    figures = f"The figures for {changed} against {reference} count all resistance as ridden"
    return f"{figures}. Told apart: {parts[0]}, {parts[1]}."


def uncertainty(comparison: Mapping[str, Any]) -> str:
    """Standard uncertainty, coverage factor, degrees of freedom; empty where nothing was worked out."""
    if comparison["df"] is None or comparison["ridden_ci95_m2"] is None:
        return ""
    parts = [
        f"{comparison['changed']} against {comparison['reference']}: 95 % interval by Student's t, the run as the unit"
    ]
    if comparison.get("ridden_u_m2") is not None:
        parts.append(f"standard uncertainty {two_digits(comparison['ridden_u_m2'])} {SQUARE_METRES}")
    if comparison.get("coverage_factor") is not None:
        parts.append(f"coverage factor k = {rounded(comparison['coverage_factor'], 2)}")
    parts.append(f"{rounded(comparison['df'], 1)} degrees of freedom")
    if comparison["p_value"] is not None:
        parts.append(_chance(comparison["p_value"]))
    if comparison["repeatability_sd_m2"] is not None:
        sd = two_digits(comparison["repeatability_sd_m2"])
        parts.append(f"one run repeats to {sd} {SQUARE_METRES} (standard deviation)")
    return f"{', '.join(parts)}."


def heaviest(result: Mapping[str, Any]) -> str:
    """The largest lines of the uncertainty budget, for differences and for drag areas; empty without a budget."""
    said = []
    for name, key in (("a difference", "on_delta_m2"), ("a drag area itself", "on_cda_m2")):
        known = sorted((line for line in result["budget"] if line[key]), key=lambda line: -float(line[key]))
        listed = ", ".join(f"{line['source']} {two_digits(line[key])}" for line in known[:3])
        said += [f"on {name}: {listed}"] if listed else []
    return f"What weighs most (standard uncertainty, {SQUARE_METRES}) {'; '.join(said)}." if said else ""


def _chance(p_value: float) -> str:
    """Below 0.0001 the digits of a p value say nothing more."""
    return f"p{NO_BREAK}={NO_BREAK}{two_digits(p_value)}" if p_value >= 0.0001 else f"p{NO_BREAK}<{NO_BREAK}0.0001"

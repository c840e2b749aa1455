"""Results as the engine would store them, made by hand for the pages: only what a page says is asked of them."""

from __future__ import annotations

from analysis.core.document import result_document
from analysis.core.types import (
    BudgetLine,
    Change,
    Comparison,
    Instruments,
    RunResult,
    SessionResult,
    SetupResult,
    TimeAnswer,
    Warning,
    WattsAnswer,
)

CDA = {"A": 0.2403, "B": 0.2362}
ORDER = "ABBAABBA"
SCATTER = (0.0006, -0.0004, 0.0009, -0.0011, 0.0002, -0.0007, 0.0005, 0.0001)

DRIFT = Warning(
    "airspeed_drift",
    "caution",
    "runs 5-8",
    "the air-speed sensor read 2.1 % lower from here on",
    "check the mount before the next run",
)
UNBALANCED = Warning("unbalanced_order", "note", "session", "the order of runs does not cancel a drift", "ride ABBA")
NO_PATH = Warning("course_mismatch", "invalid", "session", "no closed path was found", "check the course's length")
WHEELS = Change("items.wheels", "Tarn 40", "Tarn 50")
PADS = Change("position", {"pad_stack_mm": 610, "reach_mm": 480}, {"pad_stack_mm": 590, "reach_mm": 480})


def _around(middle: float, reach: float) -> tuple[float, float]:
    return middle - reach, middle + reach


def comparison(verdict: str = "faster", *, delta: float = -0.0041, reach: float = 0.0016, changed: str = "B", **more):
    """Changed minus reference, with watts and seconds in step."""
    ends, narrow = _around(delta, reach), _around(delta, 0.8 * reach)
    facts = {
        "reference": "A",
        "changed": changed,
        "changes": (WHEELS,),
        "delta_cda_m2": delta,
        "ci95_m2": ends,
        "ci90_m2": narrow,
        "simultaneous_ci95_m2": ends,
        "p_value": 0.004,
        "df": 6.0,
        "ridden_delta_m2": delta,
        "ridden_ci95_m2": ends,
        "ridden_ci90_m2": narrow,
        "ridden_simultaneous_ci95_m2": ends,
        "delta_crr": None,
        "ci95_crr": None,
        "repeatability_sd_m2": 0.0012,
        "verdict": verdict,
        "watts": (WattsAnswer(40 / 3.6, 830 * delta, (830 * ends[0], 830 * ends[1])),),
        "time": (TimeAnswer(40_000.0, 250.0, 4650 * delta, (4650 * ends[0], 4650 * ends[1])),),
        "more_runs_needed": None,
    }
    return Comparison(**facts | more)


NO_FIGURES = {
    "delta_cda_m2": None,
    "ci95_m2": None,
    "ci90_m2": None,
    "simultaneous_ci95_m2": None,
    "ridden_delta_m2": None,
    "ridden_ci95_m2": None,
    "ridden_ci90_m2": None,
    "ridden_simultaneous_ci95_m2": None,
    "watts": (WattsAnswer(40 / 3.6, None, None),),
    "time": (TimeAnswer(40_000.0, 250.0, None, None),),
}

COMPARISONS = {
    "faster": comparison(),
    "slower": comparison("slower", delta=0.0041),
    "equivalent": comparison("equivalent", delta=-0.0003, reach=0.0012),
    "undecided": comparison("undecided", delta=-0.0017, reach=0.0026, more_runs_needed=12),
    "invalid": comparison("invalid", **NO_FIGURES),
}


def _run(number: int, setup: str, off: float) -> RunResult:
    if number == 3:
        return RunResult(number, setup, *[None] * 7)
    return RunResult(number, setup, CDA[setup] + off, 0.0011, 10.3, 1.2131, 0.0372, 262.0, 28.0)


def story(verdict: str = "faster", *, comparisons=None, warnings=(DRIFT, UNBALANCED)) -> dict:
    """A stored result; run 3 was left out."""
    result = SessionResult(
        runs=tuple(_run(n, s, off) for n, (s, off) in enumerate(zip(ORDER, SCATTER, strict=True), 1)),
        setups=tuple(SetupResult(s, cda, _around(cda, 0.009), _around(cda, 0.0015), 4) for s, cda in CDA.items()),
        comparisons=(COMPARISONS[verdict],) if comparisons is None else comparisons,
        instruments=Instruments(0.998, -0.001, {"A": 0.998, "B": 0.999}, 0.0042),
        budget=(BudgetLine("power meter gain", 0.015, 0.0037, 0.00003),),
        warnings=(NO_PATH, *warnings) if verdict == "invalid" else tuple(warnings),
        assumptions={"smallest_difference_m2": 0.002},
    )
    return result_document(result)

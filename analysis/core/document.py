"""The published document `session-result/1` from a result: its keys, their order, its units. Nothing is computed here.

Inside the core all is SI and radians; here, and nowhere else on the way out, become degrees, km/h and km.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any, TypeAlias

from analysis.core.constants import MPS_PER_KMH
from analysis.core.types import (
    BudgetLine,
    Comparison,
    Instruments,
    RunResult,
    SessionResult,
    SetupResult,
    Warning,
)

SCHEMA = "session-result/1"
ENGINE_VERSION = "0.1.0"  # of the computation: it changes when the same recordings may give other figures
METHOD = "joint"
DIGITS = 10  # significant: enough to recompute from, few enough to hide the last bits that differ by machine


Json: TypeAlias = "None | bool | int | float | str | list[Json] | dict[str, Json]"


def result_document(result: SessionResult, *, engine_version: str = ENGINE_VERSION) -> dict[str, Any]:
    """A session's result as it is printed, stored and returned: plain JSON values, null where nothing can be said.

    Parameters
    ----------
    result : SessionResult
    engine_version : str
        Version of the computation that made it.

    Returns
    -------
    dict
        `session-result/1`; areas [m2], speeds of questions [km/h], distances [km], angles [deg].
    """
    return {
        "schema": SCHEMA,
        "engine": {"version": engine_version, "method": METHOD},
        "runs": [_run(run, result.warnings) for run in sorted(result.runs, key=lambda run: run.number)],
        "setups": [_setup(setup) for setup in result.setups],
        "comparisons": [_comparison(comparison) for comparison in result.comparisons],
        "instruments": _instruments(result.instruments),
        "budget": [_budget_line(line) for line in result.budget],
        "warnings": [_warning(warning) for warning in result.warnings],
        "assumptions": plain(result.assumptions),
    }


def concerns_run(where: str, number: int) -> bool:
    """Whether a warning's place names this run, by itself or within a range.

    Parameters
    ----------
    where : str
        `session`, `run 5`, `runs 5-8` or `setup B`.
    number : int
        Number of the run [1].

    Returns
    -------
    bool
        True where the run is named.
    """
    found = re.fullmatch(r"runs? (\d+)(?:-(\d+))?", where)
    return found is not None and int(found[1]) <= number <= int(found[2] or found[1])


def plain(value: object) -> Json:
    """A value as JSON can hold it: numbers rounded to ten significant digits, never NaN or infinite.

    Parameters
    ----------
    value : object
        Numbers, texts, mappings, sequences, arrays and None, nested [any unit].

    Returns
    -------
    object
        The same in dicts, lists, str, int, float, bool and None [same unit].
    """
    if value is None or isinstance(value, str | bool):
        return value
    if isinstance(value, Mapping):
        return {str(key): plain(inner) for key, inner in value.items()}
    if hasattr(value, "tolist"):  # numpy's arrays and scalars
        return plain(value.tolist())
    if isinstance(value, int):
        return value
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}") if math.isfinite(value) else None
    if isinstance(value, list | tuple):
        return [plain(inner) for inner in value]
    return str(value)


def _converted(value: float | None, unit: float) -> Json:
    return None if value is None else plain(value / unit)


def _interval(ends: tuple[float, float] | None) -> Json:
    """An interval with an end that is not a number is no interval."""
    return None if ends is None or not all(math.isfinite(end) for end in ends) else plain(ends)


def _run(run: RunResult, warnings: tuple[Warning, ...]) -> dict[str, Any]:
    return {
        "number": run.number,
        "setup": run.setup,
        "cda_m2": plain(run.cda_m2),
        "u_m2": plain(run.u_m2),
        "mean_speed_mps": plain(run.mean_speed_mps),
        "air_density_kg_m3": plain(run.air_density_kg_m3),
        "mean_abs_yaw_deg": _converted(run.mean_abs_yaw_rad, math.radians(1)),
        "used_s": plain(run.used_s),
        "left_out_s": plain(run.left_out_s),
        "warnings": [_warning(w) for w in warnings if concerns_run(w.where, run.number)],
    }


def _setup(setup: SetupResult) -> dict[str, Any]:
    return {
        "label": setup.label,
        "cda_m2": plain(setup.cda_m2),
        "ci95_m2": _interval(setup.ci95_m2),
        "ci95_within_m2": _interval(setup.ci95_within_m2),
        "runs": setup.runs,
    }


def _comparison(comparison: Comparison) -> dict[str, Any]:
    c = comparison
    return {
        "reference": c.reference,
        "changed": c.changed,
        "changes": [{"factor": x.factor, "from": plain(x.before), "to": plain(x.after)} for x in c.changes],
        "delta_cda_m2": plain(c.delta_cda_m2),
        "ci95_m2": _interval(c.ci95_m2),
        "ci90_m2": _interval(c.ci90_m2),
        "simultaneous_ci95_m2": _interval(c.simultaneous_ci95_m2),
        "p_value": plain(c.p_value),
        "df": plain(c.df),
        "ridden_delta_m2": plain(c.ridden_delta_m2),
        "ridden_ci95_m2": _interval(c.ridden_ci95_m2),
        "ridden_ci90_m2": _interval(c.ridden_ci90_m2),
        "ridden_simultaneous_ci95_m2": _interval(c.ridden_simultaneous_ci95_m2),
        "delta_crr": plain(c.delta_crr),
        "ci95_crr": _interval(c.ci95_crr),
        "repeatability_sd_m2": plain(c.repeatability_sd_m2),
        "verdict": c.verdict,
        "watts": [
            {
                "speed_kmh": _converted(w.speed_mps, MPS_PER_KMH),
                "delta_w": plain(w.delta_w),
                "ci95_w": _interval(w.ci95_w),
            }
            for w in c.watts
        ],
        "time": [
            {
                "distance_km": _converted(t.distance_m, 1000.0),
                "power_w": plain(t.power_w),
                "delta_s": plain(t.delta_s),
                "ci95_s": _interval(t.ci95_s),
            }
            for t in c.time
        ],
        "more_runs_needed": plain(c.more_runs_needed),
        "ridden_u_m2": plain(c.ridden_u_m2),
        "coverage_factor": plain(c.coverage_factor),
    }


def _instruments(instruments: Instruments) -> dict[str, Any]:
    return {
        "airspeed_gain": plain(instruments.airspeed_gain),
        "airspeed_gain_change_per_hour": plain(instruments.airspeed_gain_change_per_hour),
        "airspeed_gain_by_setup": plain(instruments.airspeed_gain_by_setup),
        "crr": plain(instruments.crr),
    }


def _budget_line(line: BudgetLine) -> dict[str, Any]:
    return {
        "source": line.source,
        "u_relative": plain(line.u_relative),
        "on_cda_m2": plain(line.on_cda_m2),
        "on_delta_m2": plain(line.on_delta_m2),
    }


def _warning(warning: Warning) -> dict[str, Any]:
    return {
        "code": warning.code,
        "level": warning.level,
        "where": warning.where,
        "what": warning.what,
        "do": warning.do,
    }

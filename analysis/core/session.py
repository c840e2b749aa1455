"""A session in, its result out: the door of the estimator.

The links are in `assemble`, the run-level model in `joint` and `drift`, the comparison in `compare`, what is
odd in `findings`. Here they are called in order, and refusals are said.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from analysis.core import airsensor, balance, budget, findings, joint
from analysis.core.assemble import Chain, link
from analysis.core.compare import compare, difference_weights, unmatched
from analysis.core.convention import STATED
from analysis.core.course import lay_out
from analysis.core.drift import DEPARTING, choose
from analysis.core.findings_design import of_design
from analysis.core.findings_instruments import of_instruments
from analysis.core.joint import Joint, freedom, run_values
from analysis.core.samples import LEAST_POWER_W, Samples, median_known, prepare
from analysis.core.types import (
    Array,
    Instruments,
    Run,
    RunResult,
    Session,
    SessionRefused,
    SessionResult,
    SetupResult,
    Warning,
)
from analysis.core.verdict import Estimate, enough_runs
from analysis.core.wholelegs import NoLegs

POOLED = "s^2 = (df0 s0^2 + df s^2) / (df0 + df)"
LEAST_SOUND, LEAST_S = 0.25, 20.0  # of a run, and seconds of it, that must be left
UNSOUND = "less than a quarter of it is sound"
OTHER_AIR = "its air sensor read"
BLOCKED_Z, BLOCKED_LEAST = 6.0, 0.08  # a run's gain this far from the others' is a fault, not a drift


def estimate(session: Session, *, without: frozenset[str] = frozenset()) -> SessionResult:
    """Drag areas, comparisons, warnings and budget of a whole session.

    Parameters
    ----------
    session : Session
        Runs with their samples, setups, course, what is assumed [1].
    without : frozenset of str
        Parts of the estimator that are taken out, by their names in `ablation`: for the yardstick [1].

    Returns
    -------
    SessionResult
        Also where nothing can be said: then figures are None and an `invalid` warning says why [1].

    Raises
    ------
    SessionRefused
        A track course, no run with power, or a session without runs.
    """
    _refuse(session)
    found = findings.Findings(session)
    if not found.mass():
        return _empty(session, found)
    runs = found.without_missing_air(_prepared(session, found))
    chain = _linked(session, runs, found, without)
    found.unmatched({r.setup for r in chain.runs} if chain else set())
    if chain is None or session.reference not in chain.labels:
        return _empty(session, found)
    solved = choose(chain.evidence, chain.tilt, session.repeatability, allowed="drift" not in without)
    of_instruments(found, chain, solved)
    of_design(found, chain, solved)
    return _result(session, chain, solved, found)


def _prepared(session: Session, found: findings.Findings) -> list[Samples]:
    origin = _origin(session)
    runs = []
    for run in session.runs:
        if run.left_out is not None:
            continue
        ready = prepare(session, run, origin)
        if ready is None:
            found.run_unusable(run.number, _why_unusable(run))
        elif float(np.mean(ready.sound)) < LEAST_SOUND:
            found.run_unusable(run.number, UNSOUND)
        else:
            runs.append(ready)
    return sorted(runs, key=lambda r: float(r.time_s[0]))


def _why_unusable(run: Run) -> str:
    c = run.channels
    if c is None or c.time_s.size < 30:
        return "its recording has fewer than 30 samples"
    if c.power_w is None or np.isfinite(c.power_w).mean() < 0.3:
        return "it has no power, or power in less than a third of its samples"
    if median_known(c.power_w) < LEAST_POWER_W:
        return f"its power is under {LEAST_POWER_W:.0f} W most of the time"
    return "neither speed, distance nor positions are recorded"


def _linked(
    session: Session, runs: list[Samples], found: findings.Findings, without: frozenset[str] = frozenset()
) -> Chain | None:
    """Marks and links over the runs that can be used; runs that turn out unusable are left out and said."""
    while runs:
        layout = lay_out(runs, session.course, by_satellites="alignment" not in without)
        if layout.no_path or layout.marks_m.size < 2:
            lost = set(layout.no_path) if layout.no_path else set(range(len(runs)))
            found.no_path([runs[i].number for i in sorted(lost)], everywhere=len(lost) == len(runs))
            runs = [r for i, r in enumerate(runs) if i not in lost]
            continue
        try:
            chain = link(session, [r.scaled(layout.wheel_scale) for r in runs], layout, without=without)
        except NoLegs:
            for r in runs:
                found.run_unusable(r.number, "none of its legs is whole, and there is no air speed")
            return None
        weak = _weak(chain)
        if not weak:
            return chain
        for i, why in weak.items():
            found.run_unusable(runs[i].number, why)
            if why.startswith(OTHER_AIR):
                found.air_blocked(runs[i].number, why)
        runs = [r for i, r in enumerate(runs) if i not in weak]
    return None


def _weak(chain: Chain) -> dict[int, str]:
    """Runs that leave too little to say anything, and runs whose air sensor read something else altogether."""
    used = chain.rows.duration_s * chain.balance.used
    seconds = np.bincount(chain.rows.run.astype(int), used, len(chain.runs))
    usual = float(np.median(seconds))
    weak = {int(i): UNSOUND for i in np.flatnonzero(seconds < max(LEAST_SOUND * usual, LEAST_S))}
    if chain.closure is not None and len(chain.runs) > 2:
        apart = chain.closure.log_gain - float(np.median(chain.closure.log_gain))
        limit = np.maximum(BLOCKED_Z * np.sqrt(np.diag(chain.closure.covariance)), BLOCKED_LEAST)
        for i in np.flatnonzero(np.abs(apart) > limit):
            weak.setdefault(int(i), f"{OTHER_AIR} {100 * apart[i]:+.0f} % against the other runs")
    return weak


def _refuse(session: Session) -> None:
    if session.course.kind == "track":
        raise SessionRefused(
            "The course is a track: lean and the path of the centre of mass are not computed yet."
            " Give the course as out_and_back or lap, or keep the recording until track sessions are supported.",
            key="course.kind",
            given="'track'",
            allowed="'out_and_back' or 'lap'",
        )
    if not session.runs:
        raise SessionRefused(
            "The session has no runs: give at least one run with a recording.",
            given="no run",
            allowed="at least one run with a recording",
        )
    with_power = [
        r
        for r in session.runs
        if r.channels is not None and r.channels.power_w is not None and np.isfinite(r.channels.power_w).any()
    ]
    if not with_power:
        raise SessionRefused(
            "No run has power: a drag area cannot be computed without it. Record power_w (a power meter) and give "
            "the runs again.",
            given="no run with the channel power_w",
            allowed="at least one run with power_w",
        )


def _origin(session: Session) -> tuple[float, float] | None:
    for run in session.runs:
        c = run.channels
        if c is not None and c.latitude_rad is not None and c.longitude_rad is not None:
            known = np.isfinite(c.latitude_rad) & np.isfinite(c.longitude_rad)
            if known.any():
                return float(c.latitude_rad[known][0]), float(c.longitude_rad[known][0])
    return None


def _result(session: Session, chain: Chain, solved: Joint, found: findings.Findings) -> SessionResult:
    weights = difference_weights(chain, solved)
    comparisons = compare(session, chain, solved, found.forbids)
    for comparison in comparisons:
        if comparison.verdict == "undecided" and comparison.ridden_ci95_m2 and comparison.more_runs_needed is None:
            found.low_power(comparison.changed)
    return SessionResult(
        runs=_runs(session, chain, solved),
        setups=_setups(session, chain, solved),
        comparisons=comparisons,
        instruments=_instruments(chain, solved),
        budget=budget.budget(session, chain, solved, weights),
        warnings=found.ordered(),
        assumptions=_assumptions(session, chain),
    )


def _empty(session: Session, found: findings.Findings) -> SessionResult:
    """A result without figures: what was found says why."""
    reference = next(s for s in session.setups if s.label == session.reference)
    return SessionResult(
        runs=tuple(_nothing(r) for r in _by_number(session)),
        setups=tuple(SetupResult(s.label, None, None, None, 0) for s in session.setups),
        comparisons=tuple(unmatched(session, reference, s) for s in session.setups if s.label != session.reference),
        instruments=Instruments(None, None, None, None),
        budget=(),
        warnings=found.ordered(),
        assumptions=_assumptions(session, None),
    )


def _by_number(session: Session) -> list[Run]:
    return sorted(session.runs, key=lambda r: r.number)


def _nothing(run: Run) -> RunResult:
    return RunResult(run.number, run.setup, None, None, None, None, None, None, None)


def _runs(session: Session, chain: Chain, solved: Joint) -> tuple[RunResult, ...]:
    values, errors = run_values(solved)
    rows, used = chain.rows, chain.balance.used
    out = {r.number: _nothing(r) for r in session.runs}
    for i, r in enumerate(chain.runs):
        own = used & (rows.run == i)
        seconds = float(rows.duration_s[own].sum())
        area = float(rows.area_j_m2[own].sum())
        if not own.any() or area <= 0.0:
            continue
        out[r.number] = RunResult(
            number=r.number, setup=r.setup, cda_m2=float(values[i]), u_m2=float(errors[i]),
            mean_speed_mps=float(rows.length_m[own].sum()) / seconds, air_density_kg_m3=float(np.mean(r.density_kg_m3)),
            mean_abs_yaw_rad=float(rows.abs_yaw_area[own].sum()) / area if r.has_yaw else None,
            used_s=seconds, left_out_s=max(float(r.time_s[-1] - r.time_s[0]) - seconds, 0.0),
        )  # fmt: skip
    return tuple(out[r.number] for r in _by_number(session))


def _setups(session: Session, chain: Chain, solved: Joint) -> tuple[SetupResult, ...]:
    shared = budget.common_u_m2(session, chain, solved)
    out = []
    for s in session.setups:
        if s.label not in chain.labels:
            out.append(SetupResult(s.label, None, None, None, 0))
            continue
        k = chain.labels.index(s.label)
        pick = np.zeros(len(chain.labels))
        pick[k] = 1.0
        weights = solved.weights(setup=pick)
        value, _, df = solved.contrast(weights)
        parts = budget.pieces(solved, weights)
        whole, within = sum(parts.values()), sum(v for name, v in parts.items() if name not in budget.COMMON)
        known = enough_runs(solved) and df >= 0.5
        absolute = _told(solved, weights, whole + shared**2, whole)
        inner = _told(solved, weights, within, whole)
        out.append(
            SetupResult(
                s.label,
                value,
                absolute.interval(0.95) if known else None,
                inner.interval(0.95) if known else None,
                int(np.sum(chain.evidence.setup == k)),
            )  # fmt: skip
        )
    return tuple(out)


def _told(solved: Joint, weights: Array, variance: float, whole: float) -> Estimate:
    """A drag area with more or less than its own variance in it: what differs is known and adds no doubt."""
    df = freedom(solved, weights, variance - whole)
    return Estimate(float(weights @ solved.theta), float(np.sqrt(variance)), max(df, 1.0), 0.0)


def _instruments(chain: Chain, solved: Joint) -> Instruments:
    crr = float(solved.theta[solved.slices["crr"]][0])
    m = solved.model
    if not m.has_gain:
        return Instruments(None, None, None, crr)
    gains = np.exp(solved.gain0 + m.gain_rows() @ solved.theta)
    level = solved.gain0 + float(solved.theta[solved.slices["gain"]][0])
    departures = np.concatenate([[0.0], solved.theta[solved.slices["departure"]]])
    drifted = (
        float(np.mean(m.gain_rows()[:, solved.slices["drift"]] @ solved.theta[solved.slices["drift"]]))
        if m.drift.by != "none"
        else 0.0
    )
    by_setup: Mapping[str, float | None] = {
        label: float(np.exp(level + departures[k] + drifted)) for k, label in enumerate(chain.labels)
    }
    return Instruments(float(np.mean(gains)), _drift_rate(chain, solved, gains), by_setup, crr)


def _drift_rate(chain: Chain, solved: Joint, gains: Array) -> float:
    """Change of the gain each hour from the run where it began to move; 0 where it did not."""
    began = solved.drift.began
    if began is None:
        return 0.0
    shape = solved.drift.shape * float(solved.theta[solved.slices["drift"]][0])
    first = min(began, shape.size - 2)  # one run alone has no slope: then with the one before
    hours = chain.evidence.time_h[first:]
    return float(np.polyfit(hours, shape[first:], 1)[0]) * float(np.exp(solved.gain0))


def _assumptions(session: Session, chain: Chain | None) -> dict[str, Any]:
    history = session.repeatability
    return {
        "drag_area_convention": STATED,
        "crr": session.crr,
        "drivetrain_efficiency": session.drivetrain_efficiency,
        "smallest_difference_m2": session.smallest_difference_m2,
        "repeatability": None if history is None else {"sd_m2": history.sd_m2, "df": history.df, "use": POOLED},
        "standard_deviations": {
            "crr": balance.CRR_SD, "crr_between_tyres": balance.CRR_CHANGE_SD,
            "rider_drift_m2_per_hour": joint.RIDER_DRIFT_SD,
            **({} if chain is None else {"rider_scatter_m2": joint.scatter_scale(chain.evidence)}),
            "yaw_dependence_of_sin2": balance.YAW_DEPENDENCE_SD, "yaw_offset_rad": float(airsensor.YAW_OFFSET_SD),
            "airspeed_gain_near_sensor": joint.NEAR_SENSOR_SD, "airspeed_gain_elsewhere": joint.ELSEWHERE_SD,
            "mean_wind_mps_over_600_s": airsensor.WANDER_MPS, "mean_wind_rad_over_600_s": float(airsensor.WANDER_RAD),
            **budget.priors(),
        },
        "airspeed_gain_near_sensor_sizes": [{"times": size, "share": share} for size, share in DEPARTING],
        "wheel_scale": None if chain is None else chain.layout.wheel_scale,
    }  # fmt: skip


def warnings_of(result: SessionResult, code: str) -> tuple[Warning, ...]:
    """All warnings of one code.

    Parameters
    ----------
    result : SessionResult
        Of a session [1].
    code : str
        Of DESIGN section 8 [1].

    Returns
    -------
    tuple of Warning
        In the result's order [1].
    """
    return tuple(w for w in result.warnings if w.code == code)

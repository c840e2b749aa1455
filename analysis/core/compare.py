"""All setups against the reference: differences, intervals, verdicts, watts, time, runs still needed.

What a run's drag area is belongs to `joint`; here it is only compared and told.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields
from typing import Any

import numpy as np

from analysis.core.assemble import Chain
from analysis.core.intervals import dunnett_quantile, t_quantile, t_two_sided_p
from analysis.core.joint import Joint, rolling_share_m2
from analysis.core.ridetime import seconds_for_drag_area, watts_at_speed
from analysis.core.road import Resistance
from analysis.core.types import (
    Array,
    Change,
    Comparison,
    Session,
    Setup,
    TimeAnswer,
    WattsAnswer,
)
from analysis.core.verdict import Estimate, enough_runs, more_runs_needed, verdict

LEAST_DF = 0.5  # below, the variance is as good as unknown
Kinds = dict[str, "Estimate | None"]
MISSING = "missing"
LEAST_DRAG_M2 = 0.02  # no rider has less
TOLD_ANYWAY = ("reference", "changed", "changes", "verdict", "watts", "time")


def changes_between(reference: Setup, changed: Setup) -> tuple[Change, ...]:
    """Factors in which two setups differ, by name; a factor that one does not state counts as different.

    Parameters
    ----------
    reference : Setup
        The reference setup [1].
    changed : Setup
        The other setup [1].

    Returns
    -------
    tuple of Change
        Differences [1].
    """
    names = sorted({*reference.factors, *changed.factors})
    return tuple(
        Change(n, _plain(reference.factors.get(n)), _plain(changed.factors.get(n)))
        for n in names
        if reference.factors.get(n, MISSING) != changed.factors.get(n, MISSING)
    )


def _plain(value: object) -> object:
    return dict(value) if isinstance(value, Mapping) else value


def estimates(chain: Chain, joint: Joint) -> dict[str, Kinds]:
    """Differences of every usable setup to the reference: `cda`, `ridden`, `crr`.

    Parameters
    ----------
    chain : Chain
        The session's links [1].
    joint : Joint
        The solved run-level model [1].

    Returns
    -------
    dict of dict
        By setup label and kind; None where one run a setup leaves no interval [m2].
    """
    labels = chain.labels
    rows: dict[str, list[Array]] = {"cda": [], "ridden": [], "crr": []}
    for s in range(1, len(labels)):
        cda, crr = _weights(chain, joint, s)
        rows["cda"].append(cda)
        rows["crr"].append(crr)
        rows["ridden"].append(cda + crr * rolling_share_m2(joint))
    if not any(np.any(w) for w in rows["crr"]):  # no tyre changed: the ridden difference is that of the drag area
        rows.pop("ridden")
    out: dict[str, Kinds] = {label: {} for label in labels[1:]}
    for kind, weights in rows.items():
        for label, estimate in zip(labels[1:], _family(joint, weights), strict=True):
            out[label][kind] = estimate
    for kinds in out.values():
        kinds.setdefault("ridden", kinds["cda"])
    return out


def _weights(chain: Chain, joint: Joint, s: int) -> tuple[Array, Array]:
    pick = np.zeros(len(chain.labels))
    pick[s], pick[0] = 1.0, -1.0
    rolling = np.zeros(chain.evidence.crr.size)
    rolling[chain.evidence.crr_state[s]] += 1.0
    rolling[chain.evidence.crr_state[0]] -= 1.0
    return joint.weights(setup=pick), joint.weights(crr=rolling)


def _family(joint: Joint, weights: list[Array]) -> list[Estimate | None]:
    """Estimates of contrasts that are told together, with one simultaneous critical value."""
    found = [joint.contrast(w) for w in weights]
    if not found or not enough_runs(joint):
        return [None] * len(found)
    matrix = np.array(weights) @ joint.covariance @ np.array(weights).T
    sd = np.sqrt(np.maximum(np.diag(matrix), 1e-30))
    df = float(np.min([df for _, variance, df in found if variance > 0.0] or [0.0]))
    critical = dunnett_quantile(matrix / np.outer(sd, sd), df) if df >= LEAST_DF else 0.0
    return [
        Estimate(value, float(np.sqrt(variance)), df, critical) if variance > 0.0 and df >= LEAST_DF else None
        for value, variance, df in found
    ]


def compare(session: Session, chain: Chain, joint: Joint, forbids: Callable[[str], bool]) -> tuple[Comparison, ...]:
    """Every other setup of the session against the reference.

    Parameters
    ----------
    session : Session
        What was given [1].
    chain : Chain
        The session's links [1].
    joint : Joint
        The solved run-level model [1].
    forbids : callable
        Whether a finding forbids a verdict on the setup of that label [1].

    Returns
    -------
    tuple of Comparison
        In the session's order of setups [m2].
    """
    found = estimates(chain, joint)
    reference = next(s for s in session.setups if s.label == session.reference)
    others = [s for s in session.setups if s.label != session.reference]
    several = len(found) > 1
    out = []
    for s in others:
        if s.label not in found or session.reference not in chain.labels:
            out.append(unmatched(session, reference, s))
            continue
        invalid = forbids(s.label)
        out.append(_one(session, chain, joint, (reference, s), found[s.label], several=several, invalid=invalid))
    return tuple(out)


def unmatched(session: Session, reference: Setup, changed: Setup) -> Comparison:
    """A comparison that cannot be made: every figure is null.

    Parameters
    ----------
    session : Session
        What was given; its questions are answered by nulls [1].
    reference : Setup
        The reference setup [1].
    changed : Setup
        The other setup [1].

    Returns
    -------
    Comparison
        Without figures [1].
    """
    figures = [f.name for f in fields(Comparison) if f.name not in TOLD_ANYWAY]
    nothing: dict[str, Any] = dict.fromkeys(figures)
    return Comparison(
        reference.label,
        changed.label,
        changes_between(reference, changed),
        verdict="invalid",
        watts=tuple(WattsAnswer(speed, None, None) for speed in session.questions.speeds_mps),
        time=_no_times(session),
        **nothing,
    )


def _one(
    session: Session,
    chain: Chain,
    joint: Joint,
    setups: tuple[Setup, Setup],
    kinds: Kinds,
    *,
    several: bool,
    invalid: bool,
) -> Comparison:
    reference, changed = setups
    cda, ridden, crr = kinds["cda"], kinds["ridden"], kinds["crr"]
    s = chain.labels.index(changed.label)
    weights, rolling = _weights(chain, joint, s)
    value = float(weights @ joint.theta)
    ridden_value = value + float(rolling @ joint.theta) * rolling_share_m2(joint)
    tyres_changed = bool(np.any(rolling))
    said = verdict(ridden, several, session.smallest_difference_m2, invalid)
    counts = (int(np.sum(chain.evidence.setup == 0)), int(np.sum(chain.evidence.setup == s)))
    needed = (
        more_runs_needed(ridden, joint, counts, session.smallest_difference_m2)
        if ridden and said == "undecided"
        else None
    )
    return Comparison(
        reference=reference.label, changed=changed.label, changes=changes_between(reference, changed),
        delta_cda_m2=value, ci95_m2=cda.interval(0.95) if cda else None, ci90_m2=cda.interval(0.90) if cda else None,
        simultaneous_ci95_m2=cda.together() if cda else None,
        p_value=t_two_sided_p(ridden.value / ridden.sd, ridden.df) if ridden else None,
        df=ridden.df if ridden else None,
        ridden_delta_m2=ridden_value, ridden_ci95_m2=ridden.interval(0.95) if ridden else None,
        ridden_ci90_m2=ridden.interval(0.90) if ridden else None,
        ridden_simultaneous_ci95_m2=ridden.together() if ridden else None,
        delta_crr=float(rolling @ joint.theta) if tyres_changed else None,
        ci95_crr=crr.interval(0.95) if crr and tyres_changed else None,
        repeatability_sd_m2=float(np.hypot(joint.scatter_m2, joint.sensor_sd_m2)) if enough_runs(joint) else None,
        verdict=said, watts=_watts(session, chain, ridden_value, ridden),
        time=_time(session, chain, joint, ridden_value, ridden), more_runs_needed=needed,
        ridden_u_m2=ridden.sd if ridden else None, coverage_factor=t_quantile(0.975, ridden.df) if ridden else None,
    )  # fmt: skip


def mean_density_kg_m3(chain: Chain) -> float:
    """Density of the session's air.

    Parameters
    ----------
    chain : Chain
        The session's links [1].

    Returns
    -------
    float
        Mean over the runs [kg/m3].
    """
    return float(np.mean([np.mean(r.density_kg_m3) for r in chain.runs]))


def _watts(session: Session, chain: Chain, value: float, ridden: Estimate | None) -> tuple[WattsAnswer, ...]:
    density, efficiency = mean_density_kg_m3(chain), session.drivetrain_efficiency
    out = []
    for speed in session.questions.speeds_mps:
        ends = np.array([value, *(ridden.interval(0.95) if ridden else ())])
        watts = np.atleast_1d(watts_at_speed(ends, speed, density, efficiency))
        out.append(WattsAnswer(speed, float(watts[0]), (float(watts[1]), float(watts[2])) if ridden else None))
    return tuple(out)


def _time(
    session: Session, chain: Chain, joint: Joint, value: float, ridden: Estimate | None
) -> tuple[TimeAnswer, ...]:
    """Still air, level road, the reference setup's drag area, rolling resistance and mass."""
    of_reference = [r.mass_kg for r in chain.runs if r.setup == session.reference]
    road = Resistance(
        cda_m2=float(joint.theta[joint.slices["setup"]][0]), crr=float(joint.theta[joint.slices["crr"]][0]),
        mass_kg=float(np.mean(of_reference)), density_kg_m3=mean_density_kg_m3(chain),
        efficiency=session.drivetrain_efficiency,
    )  # fmt: skip
    rideable = float(np.asarray(road.cda_m2)) > LEAST_DRAG_M2 and float(np.asarray(road.crr)) > 0.0
    if not rideable:  # figures of broken recordings: no time can be told from them
        return _no_times(session)
    out = []
    for distance in session.questions.distances_m:
        for power in session.questions.powers_w:
            ends = np.array([value, *(ridden.interval(0.95) if ridden else ())])
            ends = np.maximum(ends, LEAST_DRAG_M2 - float(np.asarray(road.cda_m2)))  # a drag area stays positive
            seconds = np.atleast_1d(seconds_for_drag_area(ends, distance, power, road))
            out.append(
                TimeAnswer(
                    distance, power, float(seconds[0]), (float(seconds[1]), float(seconds[2])) if ridden else None
                )
            )
    return tuple(out)


def _no_times(session: Session) -> tuple[TimeAnswer, ...]:
    asked = [(d, p) for d in session.questions.distances_m for p in session.questions.powers_w]
    return tuple(TimeAnswer(d, p, None, None) for d, p in asked)


def difference_weights(chain: Chain, joint: Joint) -> Array | None:
    """Weights of the first ridden difference over the unknowns, None with one setup.

    Parameters
    ----------
    chain : Chain
        The session's links [1].
    joint : Joint
        The solved run-level model [1].

    Returns
    -------
    array or None [1]
    """
    if len(chain.labels) < 2:
        return None
    cda, crr = _weights(chain, joint, 1)
    return np.asarray(cda + crr * rolling_share_m2(joint))

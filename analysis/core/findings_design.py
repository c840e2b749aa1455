"""What the plan and the runs show: order, too few runs, more than one change, odd runs and stretches."""

from __future__ import annotations

import numpy as np

from analysis.core.assemble import Chain
from analysis.core.balance import CRR_CHANGE_SD
from analysis.core.compare import changes_between
from analysis.core.findings import Findings
from analysis.core.findings_instruments import silent_rows
from analysis.core.intervals import t_two_sided_p
from analysis.core.joint import RIDER_DRIFT_SD, SLOW_POWER_S, SLOW_POWER_SD, Joint, run_values
from analysis.core.samples import median_known
from analysis.core.types import Array, Mask
from analysis.core.verdict import enough_runs

FEWEST_RUNS = 3
UNBALANCED = 0.15  # of the session's span between the mean times of two setups
BRAKING_S = 3.0
UNLIKE_Z = 3.0  # of the air about a stretch
BRAKED_MPS2 = 0.1  # slower than the twins by this for a sample: a brake, not the air
LASTING_SAMPLES = 4  # before and after: braking for a turn or a hill lasts longer than a touch of the brake
NEAR_S = 4.0  # a brake beside a mark is in the speeds of both its stretches
OUTLIER_P = 0.002  # for any run of the session together
TREND_P = 0.003
TREND_LEAST = 0.01  # relative, over the session: smaller trends are no one's fault
ONE_SPEED = 0.15  # of the mean speed: runs that differ less were ridden at one speed
NOT_SEPARATED = 0.5  # of the prior's variance that is left


def of_design(found: Findings, chain: Chain, joint: Joint) -> None:
    """Add the warnings that the plan and the runs of a session deserve.

    Parameters
    ----------
    found : Findings
        Where they are collected [1].
    chain : Chain
        The session's links [1].
    joint : Joint
        The solved run-level model [1].
    """
    _order(found, chain)
    _few(found, chain)
    _confounded(found)
    _rolling(found, chain, joint)
    _ways(found, chain)
    _stretches(found, chain)
    _odd_runs(found, chain, joint)


def _order(found: Findings, chain: Chain) -> None:
    e = chain.evidence
    span = float(np.ptp(e.time_h))
    if len(chain.labels) < 2 or span <= 0.0:
        return
    middle = [float(np.mean(e.time_h[e.setup == s])) for s in range(len(chain.labels))]
    apart = max(abs(m - middle[0]) for m in middle[1:]) / span
    if apart > UNBALANCED:
        found.add(
            "unbalanced_order", "note", "session",
            f"The setups' mean times lie {60 * apart * span:.0f} minutes apart: what drifts through the session "
            "does not cancel between them.",
            "Ride in the order ABBA, twice, so that early and late runs share out evenly.",
        )  # fmt: skip


def _few(found: Findings, chain: Chain) -> None:
    for s, label in enumerate(chain.labels):
        count = int(np.sum(chain.evidence.setup == s))
        if count < FEWEST_RUNS:
            found.add(
                "few_runs", "caution", f"setup {label}",
                f"Setup {label} has {count} usable run{'s' if count > 1 else ''}: too few to know how well a run "
                "repeats.",
                f"Ride at least {FEWEST_RUNS} runs of each setup, better four.",
            )  # fmt: skip


def _confounded(found: Findings) -> None:
    session = found.session
    reference = next(s for s in session.setups if s.label == session.reference)
    for setup in session.setups:
        factors = [c.factor for c in changes_between(reference, setup)]
        if len(factors) > 1:
            found.add(
                "confounded", "caution", f"setup {setup.label}",
                f"{len(factors)} things differ between setup {session.reference} and {setup.label}: "
                f"{', '.join(factors)}. The verdict is of all of them together.",
                "Change one thing at a time to learn what each is worth.",
            )  # fmt: skip


def _rolling(found: Findings, chain: Chain, joint: Joint) -> None:
    e = chain.evidence
    for s, label in enumerate(chain.labels):
        if e.crr_state[s] == e.crr_state[0]:
            continue
        w = np.zeros(e.crr.size)
        w[e.crr_state[s]], w[e.crr_state[0]] = 1.0, -1.0
        _, variance, _ = joint.contrast(joint.weights(crr=w))
        if variance > NOT_SEPARATED * CRR_CHANGE_SD**2 or _one_speed(chain):
            found.add(
                "rolling_not_separated", "caution", f"setup {label}",
                f"Tyres or pressure changed with setup {label} and the runs were ridden at one speed: the "
                "difference is of all resistance as ridden.",
                "Ride some runs of both setups about 3 m/s slower to tell rolling from drag.",
            )  # fmt: skip


def _one_speed(chain: Chain) -> bool:
    run = chain.rows.run.astype(int)
    count = len(chain.runs)
    speeds = np.bincount(run, chain.rows.length_m, count) / np.maximum(
        np.bincount(run, chain.rows.duration_s, count), 1.0
    )
    return float(np.ptp(speeds)) < ONE_SPEED * float(np.mean(speeds))


def _ways(found: Findings, chain: Chain) -> None:
    for i in chain.layout.reversed_runs:
        number = chain.runs[i].number
        found.add(
            "wrong_way", "caution", f"run {number}",
            f"Run {number} was ridden the other way round; its passes were matched to the same marks, though wind "
            "and traffic meet it differently.",
            "Ride every run the same way round.",
        )  # fmt: skip


def _stretches(found: Findings, chain: Chain) -> None:
    rows, balance = chain.rows, chain.balance
    soft = (rows.soft_s > 0.0) & ~silent_rows(chain)
    odd = rows.sound & ~balance.used & np.isfinite(balance.score)
    slowed, unlike = _slowed_mps2(chain), _unlike(chain)
    for i, r in enumerate(chain.runs):
        own = rows.run == i
        braked = odd & own & (balance.score > 0.0) & ((slowed > BRAKED_MPS2) | ~unlike)
        seconds = float(rows.soft_s[own & soft & ~rows.sound].sum()) + float(rows.duration_s[braked].sum())
        if seconds >= BRAKING_S:
            found.add(
                "braking", "note", f"run {r.number}",
                f"In run {r.number} the rider braked or let the pedals go for {seconds:.0f} s away from the turns; "
                "the stretches there were left out.",
                "Hold power and position from mark to mark where traffic allows.",
            )  # fmt: skip
        passed = odd & own & ~braked
        calm_s = chain.lull_s[i] if chain.lull_s else 0.0
        if passed.any() or calm_s > 0.0:
            metres = float(np.sum(rows.length_m[passed])) + calm_s * median_known(r.speed_mps)
            found.add(
                "traffic", "caution", f"run {r.number}",
                f"In run {r.number} the air flow on {metres:.0f} m is unlike the same road on the other passes, as "
                "when a vehicle goes by; left out.",
                "Ride the run again at once if more than one place is concerned.",
            )  # fmt: skip


def _unlike(chain: Chain) -> Mask:
    """Stretches whose air shows something: energy that is gone from any other went into a brake."""
    rows = chain.rows
    out = np.zeros(rows.run.size, dtype=bool)
    for i, z in enumerate(chain.air_z):
        own, size = np.flatnonzero(rows.run == i), np.abs(z)
        out[own] = [size[span].max(initial=0.0) > UNLIKE_Z for span in rows.spans(own, chain.runs[i].time_s)]
    return out


def _slowed_mps2(chain: Chain) -> Array:
    """Hardest slowing in every stretch beyond what is usual there: no gust or vehicle slows one like a brake.

    What lasts (a hill, the wind in a bend) is no brake: the slowing about each sample is taken off first.
    """
    rows = chain.rows
    hardest = np.zeros(rows.run.size)
    for i, r in enumerate(chain.runs):
        slowing = -np.diff(np.nan_to_num(r.speed_mps), append=0.0) / np.diff(r.time_s, append=np.inf)
        about = np.pad(slowing, LASTING_SAMPLES, mode="edge")
        slowing -= np.median(np.lib.stride_tricks.sliding_window_view(about, 2 * LASTING_SAMPLES + 1), axis=1)
        own = np.flatnonzero(rows.run == i)
        hardest[own] = [slowing[span].max(initial=0.0) for span in rows.spans(own, r.time_s, NEAR_S)]
    where = 2 * rows.place + (rows.direction > 0)
    usual = {w: median_known(hardest[where == w]) for w in np.unique(where)}
    return np.asarray(hardest - np.array([usual[w] for w in where]))


def _odd_runs(found: Findings, chain: Chain, joint: Joint) -> None:
    """A run far from its setup's others, and a trend that no setup explains."""
    values, _ = run_values(joint)
    e = chain.evidence
    n, groups = values.size, len(chain.labels)
    if chain.closure is None or not enough_runs(joint) or n - groups < 3:
        return
    setups = (e.setup[:, None] == np.arange(groups)).astype(float)
    for i, number in enumerate(r.number for r in chain.runs):
        if np.sum(e.setup == e.setup[i]) == 1:
            continue
        own = (np.arange(n) == i).astype(float)
        size, p = _tested(values, np.column_stack([setups, own]), _floor(joint))
        if p * n < OUTLIER_P:
            found.add(
                "outlier_run", "caution", f"run {number}",
                f"Run {number} lies {size:+.4f} m2 from the other runs of its setup, more than chance allows.",
                "Look for what was different (position, traffic, clothing); leave it out only with that reason.",
            )  # fmt: skip
    if found.has("airspeed_drift") or found.has("outlier_run") or n - groups < 4:
        return
    slope, p = _trend(values, setups, joint)
    moved = slope * float(np.ptp(e.time_h)) / float(values.mean())
    if p < TREND_P and abs(moved) > TREND_LEAST:
        found.add(
            "power_drift", "caution", "session",
            f"The drag area moved by {100 * moved:+.1f} % through the session in all setups, with a steady air "
            "sensor: the power meter drifted, or the rider's position.",
            "Zero the power meter between runs when it has taken the air's temperature, and ride the reference "
            "again at the end.",
        )  # fmt: skip


def _trend(values: Array, setups: Array, joint: Joint) -> tuple[float, float]:
    """Trend of the drag areas [m2/h] and its p-value against what riders and power meters usually drift."""
    e = joint.model.e
    design = np.column_stack([setups, e.time_h - e.time_h.mean()])
    slope, _, u, df = _last(values, design, _floor(joint))
    pick = np.asarray(np.linalg.pinv(design), dtype=np.float64)[-1]
    share = pick * e.power_share_m2 * np.exp(2.0 * joint.gain0)
    apart = np.abs(e.time_h[:, None] - e.time_h[None, :]) * 3600.0
    usual = RIDER_DRIFT_SD**2 + SLOW_POWER_SD**2 * float(share @ np.exp(-apart / SLOW_POWER_S) @ share)
    total = float(np.hypot(u, np.sqrt(usual)))
    return slope, t_two_sided_p(slope / total, df * (total / max(u, 1e-12)) ** 4)


def _floor(joint: Joint) -> float:
    return joint.sensor_sd_m2


def _tested(values: Array, design: Array, floor: float) -> tuple[float, float]:
    """Last coefficient of a least-squares fit and its p-value; the error is never taken below the sensors' own."""
    size, _, u, df = _last(values, design, floor)
    return size, t_two_sided_p(size / u, df)


def _last(values: Array, design: Array, floor: float) -> tuple[float, float, float, int]:
    """Last coefficient, the error of one value, the coefficient's standard uncertainty and degrees of freedom."""
    inverse = np.asarray(np.linalg.pinv(design.T @ design), dtype=np.float64)
    theta = inverse @ design.T @ values
    df = values.size - design.shape[1]
    error = max(float(np.sqrt(np.sum((values - design @ theta) ** 2) / df)), floor)
    return float(theta[-1]), error, error * float(np.sqrt(inverse[-1, -1])), df

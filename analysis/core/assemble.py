"""The chain of one session: samples, marks, energy sums, closure, and what each usable run says in the end.

Reading and judging belong to the links themselves; what the answer means belongs to `compare`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from analysis.core import airsensor, wholelegs
from analysis.core.ablation import with_gain
from analysis.core.airsensor import Closure
from analysis.core.balance import ODD_Z, Balance, Noise
from analysis.core.clocks import in_time
from analysis.core.course import Layout
from analysis.core.joint import Evidence
from analysis.core.lulls import LULL_Z, suspects, unlike_gusts
from analysis.core.road import effective_mass_kg
from analysis.core.samples import Samples, median_known
from analysis.core.stretches import Stretches
from analysis.core.types import Array, IntArray, Mask, Session, Setup
from analysis.core.wholelegs import Wind

POWER_NOISE = 0.03  # white, of one second; the residuals scale it
SPEED_SAMPLES = 5.0  # that a mark's speed averages
TYRE_FACTORS = ("items.tyres", "items.front_tyre", "items.rear_tyre", "tyre_pressure_kpa")
NEAR_SENSOR_FACTORS = ("position", "items.cockpit")


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """All links of a session's computation, for the result, its findings and its budget."""

    runs: list[Samples]
    layout: Layout
    rows: Stretches
    balance: Balance
    closure: Closure | None
    tilt: tuple[Array, Array] | None
    evidence: Evidence
    labels: tuple[str, ...]  # setups with a usable run, the reference first
    wind: Wind | None = None  # of whole legs, without an air sensor
    lull_s: tuple[float, ...] = ()  # of each run in lulls that no gust makes
    air_z: tuple[Array, ...] = ()  # of each sample, as `unlike_gusts` gives it


def link(session: Session, runs: list[Samples], layout: Layout, *, without: frozenset[str] = frozenset()) -> Chain:
    """Compute every link from prepared runs over known marks.

    Parameters
    ----------
    session : Session
        What was given [1].
    runs : list[Samples]
        Samples of the usable runs [1].
    layout : Layout
        Passes and marks [m].
    without : frozenset of str
        Parts that are taken out, by their names in `ablation` [1].

    Returns
    -------
    Chain
        Energy sums, drag areas, gains [1].
    """
    labels = usable_labels(session, runs)
    setups = [next(s for s in session.setups if s.label == label) for label in labels]
    setup_of = np.array([labels.index(r.setup) for r in runs])
    tyres = states(setups, TYRE_FACTORS)
    kept = [np.ones(r.time_s.size, dtype=bool) for r in runs]
    kept = [k & free(layout, i, r) for i, (k, r) in enumerate(zip(kept, runs, strict=True))]
    closure = _closure(runs, layout, kept)
    bike = session.bike
    spin = effective_mass_kg(1.0, bike.wheel_inertia_kg_m2, bike.wheel_circumference_m * layout.wheel_scale) - 1.0
    if closure is None:
        return _by_whole_legs(session, runs, layout, labels=labels, setup_of=setup_of, tyres=tyres, spin=spin)
    odd = "odd-stretches" not in without
    air_z = unlike_gusts(runs, layout, kept, _rough_gain(runs, kept), closure.gusts) if odd else []
    balanced = partial(
        in_time, layout=layout, tyre_state=tyres[setup_of], crr=session.crr, efficiency=session.drivetrain_efficiency,
        spin_mass_kg=spin, odd_z=ODD_Z if odd else np.inf,
    )  # fmt: skip
    wakes = [z < -LULL_Z for z in air_z] or [np.zeros(k.size, dtype=bool) for k in kept]
    while True:
        free_air = [replace(r, sound=r.sound & ~w) for r, w in zip(runs, wakes, strict=True)]
        closure = _closure(free_air, layout, kept) if any(w.any() for w in wakes) else closure
        if closure is None:  # nothing but wakes
            return _by_whole_legs(session, runs, layout, labels=labels, setup_of=setup_of, tyres=tyres, spin=spin)
        noise = Noise(
            POWER_NOISE, speed_noise_mps(free_air) / np.sqrt(SPEED_SAMPLES), closure.gusts.noise_mps,
            layout.run_u_m, layout.leg_u_m, layout.ahead_u_m,
        )  # fmt: skip
        told, rows, solved = balanced(_corrected(free_air, closure), noise=noise)
        more = suspects(air_z, told, rows, solved.score) if odd else wakes
        if not any((m & ~w).any() for m, w in zip(more, wakes, strict=True)):
            break
        wakes = [w | m for w, m in zip(wakes, more, strict=True)]
    evidence = _evidence(rows, solved, closure, setup_of, tyres, states(setups, NEAR_SENSOR_FACTORS) > 0)
    return Chain(
        told, layout, rows, solved, closure, airsensor.mount_tilt(told), with_gain(evidence, without), labels,
        lull_s=tuple(float(r.step_s[w].sum()) for r, w in zip(runs, wakes, strict=True)), air_z=tuple(air_z),
    )  # fmt: skip


def _by_whole_legs(
    session: Session,
    runs: list[Samples],
    layout: Layout,
    *,
    labels: tuple[str, ...],
    setup_of: IntArray,
    tyres: IntArray,
    spin: float,
) -> Chain:
    rows, solved, wind = wholelegs.solve(
        runs, wholelegs.coarse(layout), tyres[setup_of], crr=session.crr, efficiency=session.drivetrain_efficiency,
        spin_mass_kg=spin, power_noise=POWER_NOISE,
    )  # fmt: skip
    evidence = _evidence(rows, solved, None, setup_of, tyres, np.zeros(len(labels), dtype=bool))
    shrink = 1.0 / (1.0 + wind.crosswind_share)
    grow = np.concatenate([np.full(setup_of.size, shrink), np.ones(solved.crr.size)])
    evidence = replace(
        evidence,
        apparent_m2=evidence.apparent_m2 * shrink,
        balance_covariance=evidence.balance_covariance * np.outer(grow, grow),
        own_variance=evidence.own_variance * shrink**2,
        reach={name: grow[:, None] * pull for name, pull in evidence.reach.items()},
    )
    return Chain(runs, layout, rows, solved, None, None, evidence, labels, wind)


def usable_labels(session: Session, runs: list[Samples]) -> tuple[str, ...]:
    """Setups with a usable run.

    Parameters
    ----------
    session : Session
        What was given [1].
    runs : list[Samples]
        Prepared samples of the usable runs [1].

    Returns
    -------
    tuple of str
        Labels, the reference first [1].
    """
    ridden = {r.setup for r in runs}
    ordered = [session.reference, *(s.label for s in session.setups if s.label != session.reference)]
    return tuple(label for label in ordered if label in ridden)


def states(setups: list[Setup], factors: tuple[str, ...]) -> IntArray:
    """Number the different states of some factors over the setups; the first setup's is 0.

    Parameters
    ----------
    setups : list[Setup]
        Setups, the reference first [1].
    factors : tuple[str, ...]
        Names of the factors that make a state [1].

    Returns
    -------
    array of int, shape (s,)
        State of each setup [1].
    """
    seen: list[Mapping[str, Any]] = []
    numbers = []
    for s in setups:
        state = {f: s.factors[f] for f in factors if f in s.factors}
        if state not in seen:
            seen.append(state)
        numbers.append(seen.index(state))
    return np.array(numbers, dtype=np.intp)


def free(layout: Layout, run: int, samples: Samples) -> Mask:
    """Samples between the outer marks of any pass of a run: not the start, not the turns.

    Parameters
    ----------
    layout : Layout
        Passes and marks [m].
    run : int
        One of its runs [1].
    samples : Samples
        Samples of that run [1].

    Returns
    -------
    ndarray
        True for samples between the outer marks, shape (n,) [1].
    """
    inside = np.zeros(samples.time_s.size, dtype=bool)
    for p in layout.passes:
        if p.run == run:
            low, high = layout.marks_m[0], layout.marks_m[-1]
            within = np.ones(p.along_m.size, dtype=bool) if layout.closed else (p.along_m >= low) & (p.along_m <= high)
            inside[p.first : p.last + 1] |= within
    return inside


def speed_noise_mps(runs: list[Samples]) -> float:
    """White noise of one speed sample, from second differences: a rider's acceleration is smooth.

    Parameters
    ----------
    runs : list[Samples]
        Prepared samples of the usable runs [1].

    Returns
    -------
    float
        Standard deviation [m/s].
    """
    spread = [median_known(np.abs(np.diff(r.speed_mps, 2))) / 0.6745 / np.sqrt(6.0) for r in runs]
    return float(np.clip(np.median(spread), 0.002, 0.3))


def _closure(runs: list[Samples], layout: Layout, kept: list[Mask]) -> Closure | None:
    if any(r.air_mps is None for r in runs):
        return None
    has_yaw = all(r.has_yaw for r in runs)
    gain = _rough_gain(runs, kept)
    along = airsensor.measure_gusts(runs, layout, kept, gain)
    across = airsensor.measure_gusts(runs, layout, kept, gain, across=True) if has_yaw else along
    return airsensor.close(airsensor.gather(runs, layout, kept), len(runs), along, across, has_yaw)


def _rough_gain(runs: list[Samples], kept: list[Mask]) -> float:
    air = sum(
        float(np.nansum((r.air_mps * r.step_s)[k])) for r, k in zip(runs, kept, strict=True) if r.air_mps is not None
    )
    ground = sum(float(np.nansum((r.speed_mps * r.step_s)[k])) for r, k in zip(runs, kept, strict=True))
    return float(np.clip(air / max(ground, 1.0), 0.2, 5.0))


def _corrected(runs: list[Samples], closure: Closure | None) -> list[Samples]:
    """Yaw less its offset; the squares of the air speed less the noise that they hold."""
    if closure is None:
        return runs
    out = []
    for r in runs:
        yaw = r.yaw_rad - closure.yaw_offset_rad if r.has_yaw else r.yaw_rad
        out.append(replace(r, yaw_rad=yaw))
    return out


def _evidence(
    rows: Stretches, solved: Balance, closure: Closure | None, setup_of: IntArray, tyres: IntArray, near_sensor: Mask
) -> Evidence:
    run = rows.run[solved.used].astype(int)
    used = rows.where(solved.used)
    n = setup_of.size
    area = np.maximum(np.bincount(run, used.area_j_m2, n), 1e-9)
    work = np.bincount(run, used.energy_j, n)
    begin = np.array([used.begin_s[run == i].min() if (run == i).any() else 0.0 for i in range(n)])
    end = np.array([(used.begin_s + used.duration_s)[run == i].max() if (run == i).any() else 0.0 for i in range(n)])
    return Evidence(
        setup=setup_of,
        time_h=0.5 * (begin + end) / 3600.0,
        apparent_m2=solved.apparent_m2,
        crr=solved.crr,
        crr_state=tyres,
        balance_covariance=solved.covariance,
        own_variance=solved.own_variance,
        reach=solved.reach,
        log_gain=None if closure is None else closure.log_gain,
        gain_covariance=None if closure is None else closure.covariance,
        near_sensor=near_sensor,
        power_share_m2=work / area,
        rolling_share_m2=np.bincount(run, used.rolling_j, n) / area,
    )

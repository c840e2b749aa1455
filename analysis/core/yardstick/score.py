"""One simulated session through the estimator: what it said, against what is true and what could be known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from analysis.core.simulate import Scenario, Truth, World, draw_world, simulate_rides
from analysis.core.simulate.motion import Ridden
from analysis.core.types import Comparison, Repeatability, Session, SessionRefused, SessionResult
from analysis.core.yardstick.bound import Bound, information_bound
from analysis.core.yardstick.by_hand import by_hand_m2

HISTORY_DF = 30
MOST_DRAWS = 30  # of a world in which the rider reaches the end of every run
FIRST_LOOK = 4  # runs
ALARMS = frozenset(
    {"airspeed_drift", "airspeed_gain", "airspeed_blocked", "power_drift", "power_dropout", "speed_mismatch"}
    | {"clock_offset", "gaps", "traffic", "outlier_run", "wrong_way", "run_unusable", "file_damaged", "course_mismatch"}
)
Estimate = Callable[[Session], SessionResult]


@dataclass(frozen=True, slots=True)
class Compared:
    """One difference: figures are None where the estimator gave none."""

    error_m2: float | None  # against the runs' own true mean difference
    bound_m2: float
    by_hand_error_m2: float
    half_width_m2: float | None
    covered: bool | None  # the setups' true difference by the plain 95 % interval
    verdict: str


@dataclass(frozen=True, slots=True)
class Score:
    """One session; plain values, so that it can be kept as a line of text."""

    index: int
    compared: tuple[Compared, ...]
    simultaneous: bool | None  # all true differences by the simultaneous intervals at once
    absolute: tuple[bool, ...]  # each setup's true drag area by its 95 % interval
    warnings: tuple[str, ...]  # codes
    alarm: bool  # a caution or worse of instrument, traffic, gap or outlier
    onset_error: int | None  # run named less run in which the mount gave
    traffic_found: float | None  # share of the runs with vehicles that were named
    looked_different: bool | None  # faster or slower at any look during the day
    refused: str | None
    seconds: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Play:
    """A simulated session, ready to be estimated."""

    world: World
    scenario: Scenario
    session: Session
    truth: Truth
    rides: tuple[Ridden, ...]
    bound: Bound


def play(scenario: Scenario, seed: int, index: int) -> Play:
    """Draw and ride one session of a scenario.

    Parameters
    ----------
    scenario : Scenario
    seed, index : int
        Together they fix every chance of the session; scenarios share them, so that they can be compared in pairs [1].

    Returns
    -------
    Play
        The session with its truth and its bound, in SI [1].

    Raises
    ------
    ValueError
        No drawn rider reached the end of the runs.
    """
    rng = np.random.default_rng([seed, index])
    for _ in range(MOST_DRAWS):
        world = draw_world(scenario, rng)
        try:
            session, truth, rides = simulate_rides(world, rng)
        except ValueError:  # too weak for that day's wind: nobody would test
            continue
        bound = information_bound(world, scenario, rides)
        if scenario.history:
            sd = float(np.hypot(world.run_scatter_sd_m2, bound.one_run_m2))
            seen = sd * float(np.sqrt(rng.chisquare(HISTORY_DF) / HISTORY_DF))
            session = replace(session, repeatability=Repeatability(seen, HISTORY_DF))
        return Play(world, scenario, session, truth, rides, bound)
    raise ValueError(f"{scenario.name}: none of {MOST_DRAWS} drawn riders reached the end of every run")


def score(played: Play, index: int, estimate: Estimate, *, look: bool = False) -> Score:
    """Estimate one session and compare.

    Parameters
    ----------
    played : Play
    index : int
        Which session of the scenario [1].
    estimate : callable
        The estimator under test.
    look : bool
        Whether to estimate after every run as well [1].

    Returns
    -------
    Score
        Errors and hits; drag areas in [m2].
    """
    try:
        result = estimate(played.session)
    except SessionRefused as refusal:
        return Score(index, (), None, (), (), False, None, None, None, str(refusal))
    compared = tuple(_compare(played, c, k) for k, c in enumerate(result.comparisons))
    codes = tuple(sorted({w.code for w in result.warnings}))
    return Score(
        index=index,
        compared=compared,
        simultaneous=_simultaneous(played, result),
        absolute=_absolute(played, result),
        warnings=codes,
        alarm=any(w.code in ALARMS and w.level != "note" for w in result.warnings),
        onset_error=_onset_error(played, result),
        traffic_found=_traffic_found(played, result),
        looked_different=_looked_different(played, estimate) if look else None,
        refused=None,
    )


def _ridden(played: Play) -> bool:
    """Whether all resistance is sought: tyres at one speed cannot be told from drag."""
    return played.scenario.tyres and not played.scenario.two_speeds


def true_difference_m2(played: Play, changed: str, *, of_runs: bool) -> float:
    """True difference of a setup to the reference: of the runs as ridden, or of the setups.

    Parameters
    ----------
    played : Play
    changed : str
        Label of the setup.
    of_runs : bool
        With the rider's scatter, or without [1].

    Returns
    -------
    float
        Changed minus reference, of all resistance where that is what is sought [m2].
    """
    truth = played.truth
    base = truth.setup_cda_m2[changed] - truth.setup_cda_m2[played.session.reference]
    delta = truth.run_delta_m2[changed] if of_runs else base
    if _ridden(played):
        delta += (truth.crr_by_setup[changed] - truth.crr) * played.bound.rolling_m2
    return delta


def _compare(played: Play, c: Comparison, place: int) -> Compared:
    ridden = _ridden(played)
    said, interval = (c.ridden_delta_m2, c.ridden_ci95_m2) if ridden else (c.delta_cda_m2, c.ci95_m2)
    of_runs = true_difference_m2(played, c.changed, of_runs=True)
    of_setups = true_difference_m2(played, c.changed, of_runs=False)
    return Compared(
        error_m2=None if said is None else said - of_runs,
        bound_m2=float((played.bound.ridden_m2 if ridden else played.bound.difference_m2)[place]),
        by_hand_error_m2=by_hand_m2(played.session, c.changed) - of_runs,
        half_width_m2=None if interval is None else (interval[1] - interval[0]) / 2,
        covered=None if interval is None else interval[0] <= of_setups <= interval[1],
        verdict=c.verdict,
    )


def _simultaneous(played: Play, result: SessionResult) -> bool | None:
    hits = []
    for c in result.comparisons:
        interval = c.ridden_simultaneous_ci95_m2 if _ridden(played) else c.simultaneous_ci95_m2
        if interval is None:
            return None
        hits.append(interval[0] <= true_difference_m2(played, c.changed, of_runs=False) <= interval[1])
    return all(hits)


def _absolute(played: Play, result: SessionResult) -> tuple[bool, ...]:
    """A setup's drag area is that of the day's middle: the rider's drift is the day's and not the setup's."""
    hours = float(np.mean([r.begins_s for r in played.rides])) / 3600
    drift = played.world.rider_drift_m2_per_hour * hours
    return tuple(
        s.ci95_m2[0] <= played.truth.setup_cda_m2[s.label] + drift <= s.ci95_m2[1]
        for s in result.setups
        if s.ci95_m2 is not None
    )


def _onset_error(played: Play, result: SessionResult) -> int | None:
    began = played.truth.sag_began_run
    named = [_first_run(w.where) for w in result.warnings if w.code == "airspeed_drift"]
    return named[0] - began if began is not None and named else None


def _first_run(where: str) -> int:
    return int(where.split()[-1].split("-")[0]) if where.startswith("run") else 0


def _traffic_found(played: Play, result: SessionResult) -> float | None:
    met = {v.run for v in played.world.vehicles}
    named = {_first_run(w.where) for w in result.warnings if w.code == "traffic"}
    return len(met & named) / len(met) if met else None


def _looked_different(played: Play, estimate: Estimate) -> bool:
    """Whether the verdict was `faster` or `slower` after any run, the last one included."""
    session = played.session
    for runs in range(FIRST_LOOK, len(session.runs) + 1):
        so_far = session.runs[:runs]
        ridden = {r.setup for r in so_far}
        part = replace(session, runs=so_far, setups=tuple(s for s in session.setups if s.label in ridden))
        if any(c.verdict in ("faster", "slower") for c in estimate(part).comparisons):
            return True
    return False

"""Faults of instruments put into simulated sessions: is each one caught, is its clean twin quiet, is the answer kept?

Twins share every chance of their world and differ in the fault alone; another rate draws its noise anew. Processes and
the command line belong to `analysis.yardstick_faults`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.core.simulate import SCENARIOS, Truth, World, draw_world, simulate_session
from analysis.core.types import Array, Channels, IntArray, Run, Session, SessionRefused, SessionResult

MOST_DRAWS = 30
Estimate = Callable[[Session], SessionResult]


@dataclass(frozen=True, slots=True)
class Fault:
    """What goes wrong, in the world or in what was recorded, and which warnings tell of it."""

    codes: frozenset[str]  # empty: nothing to tell, the answer shall only not move
    world: Mapping[str, object]
    recorded: Callable[[Run, int], Channels | None]  # the run and how many there are


@dataclass(frozen=True, slots=True)
class Caught:
    """One session and its twin; errors against the runs' own true mean difference, None without an answer."""

    caught: bool
    false: bool  # the clean twin bore the same warning
    error_m2: float | None
    twin_error_m2: float | None


def _as_recorded(run: Run, runs: int) -> Channels | None:
    return run.channels


def _edit(name: str, change: Callable[[Array, Run, int], Array]) -> Callable[[Run, int], Channels | None]:
    def edited(run: Run, runs: int) -> Channels | None:
        c = run.channels
        series: Array | None = None if c is None else getattr(c, name)
        if c is None or series is None:
            return c
        changed: dict[str, Array] = {name: change(series.copy(), run, runs)}
        return replace(c, **changed)

    return edited


def _silent(power: Array, run: Run, runs: int) -> Array:
    if run.number % 4 == 2:
        power[60:75] = 0.0
    return power


def _stuck(air: Array, run: Run, runs: int) -> Array:
    if run.number == 4:
        air[60:120] = air[60]
    return air


def _spiked(power: Array, run: Run, runs: int) -> Array:
    power[40 + run.number :: 97] = 2000.0
    return power


def _leaping_air(air: Array, run: Run, runs: int) -> Array:
    air[30 + run.number :: 83], air[60 + run.number :: 83] = 60.0, 0.0
    return air


def _leaping_wheel(speed: Array, run: Run, runs: int) -> Array:
    speed[35 + run.number :: 89], speed[70 + run.number :: 89] = 30.0, 0.0
    return speed


def _barometer(altitude: Array, run: Run, runs: int) -> Array:
    return altitude + 4.0 * run.number + np.linspace(0.0, 4.0, altitude.size)


def _power_drift(power: Array, run: Run, runs: int) -> Array:
    return power * (1.0 + 0.015 * (run.number - 1) / max(runs - 1, 1))


def _saturated(air: Array, run: Run, runs: int) -> Array:
    return np.minimum(air, 1.1 * float(np.median(air)))


def _thinned(run: Run, runs: int) -> Channels | None:
    """Every second sample: what a recorder at 0.5 Hz keeps."""
    return _kept(run, np.arange(0, 0 if run.channels is None else run.channels.time_s.size, 2))


def _uneven(run: Run, runs: int) -> Channels | None:
    """A recorder that leaves out one sample in three as it likes."""
    size = 0 if run.channels is None else run.channels.time_s.size
    return _kept(run, np.flatnonzero(np.random.default_rng(run.number).random(size) > 1 / 3))


def _kept(run: Run, index: IntArray) -> Channels | None:
    c = run.channels
    if c is None:
        return None
    names = [name for name in c.__dataclass_fields__ if getattr(c, name) is not None]
    kept: dict[str, Array] = {name: getattr(c, name)[index] for name in names}
    return replace(c, **kept)


def _without_satellites(run: Run, runs: int) -> Channels | None:
    """Satellites lost for the middle third of every run."""
    c = run.channels
    if c is None or c.latitude_rad is None or c.longitude_rad is None:
        return c
    size = c.time_s.size
    lost = (np.arange(size) > size // 3) & (np.arange(size) < 2 * size // 3)
    return replace(
        c, latitude_rad=np.where(lost, np.nan, c.latitude_rad), longitude_rad=np.where(lost, np.nan, c.longitude_rad)
    )


_LATE = frozenset({"clock_offset"})
FAULTS: dict[str, Fault] = {
    "air 3 s late": Fault(_LATE, {"airspeed_delay_s": 3.0}, _as_recorded),
    "air 3 s early": Fault(_LATE, {"airspeed_delay_s": -3.0}, _as_recorded),
    "power 3 s late": Fault(_LATE, {"power_delay_s": 3.0}, _as_recorded),
    "air 0.6 s late": Fault(frozenset(), {"airspeed_delay_s": 0.6}, _as_recorded),
    "power silent 15 s": Fault(frozenset({"power_dropout"}), {}, _edit("power_w", _silent)),
    "air sensor blocked": Fault(frozenset({"airspeed_blocked"}), {}, _edit("airspeed_mps", _stuck)),
    "wheel 1 % large": Fault(frozenset({"speed_mismatch"}), {"wheel_error": 0.01}, _as_recorded),
    "wheel 1 % small": Fault(frozenset({"speed_mismatch"}), {"wheel_error": -0.01}, _as_recorded),
    "power drifts 1.5 %": Fault(frozenset({"power_drift"}), {}, _edit("power_w", _power_drift)),
    "power leaps": Fault(frozenset(), {}, _edit("power_w", _spiked)),
    "air speed leaps": Fault(frozenset(), {}, _edit("airspeed_mps", _leaping_air)),
    "wheel speed leaps": Fault(frozenset(), {}, _edit("speed_mps", _leaping_wheel)),
    "air sensor saturates": Fault(frozenset({"airspeed_blocked"}), {}, _edit("airspeed_mps", _saturated)),
    "barometer drifts": Fault(frozenset(), {}, _edit("altitude_m", _barometer)),
    "satellites lost for a third": Fault(frozenset(), {}, _without_satellites),
    "run 3 the other way": Fault(frozenset({"wrong_way"}), {"other_way_runs": (3,)}, _as_recorded),
    "0.5 Hz": Fault(frozenset(), {}, _thinned),
    "10 Hz": Fault(frozenset(), {"rate_hz": 10.0}, _as_recorded),
    "100 Hz": Fault(frozenset(), {"rate_hz": 100.0, "step_s": 0.01}, _as_recorded),
    "uneven steps": Fault(frozenset(), {}, _uneven),
}


def try_faults(names: Sequence[str], seed: int, index: int, estimate: Estimate) -> dict[str, Caught]:
    """One wheel test of the wide world with each of the faults, and its clean twin.

    Parameters
    ----------
    names : sequence of str
        Of `FAULTS`.
    seed, index : int
        Together they fix every chance of the session; faults share them [1].
    estimate : callable
        The estimator under test.

    Returns
    -------
    dict of str to Caught
        Errors in [m2].

    Raises
    ------
    ValueError
        No drawn rider reached the end of the runs.
    """
    rng = np.random.default_rng([seed, index])
    for _ in range(MOST_DRAWS):
        world = draw_world(SCENARIOS["wheels"], rng)
        chances = int(rng.integers(2**31))
        try:
            return _tried(names, world, chances, estimate)
        except ValueError:  # too weak for that day's wind
            continue
    raise ValueError(f"none of {MOST_DRAWS} drawn riders reached the end of every run")


def _tried(names: Sequence[str], world: World, chances: int, estimate: Estimate) -> dict[str, Caught]:
    clean = simulate_session(world, np.random.default_rng(chances))
    codes, twin_error = _judged(*clean, estimate)
    found = {}
    for name in names:
        fault, (session, truth) = FAULTS[name], clean
        if fault.world:
            other = replace(world, **fault.world)  # type: ignore[arg-type]  # the test of the faults builds every one
            session, truth = simulate_session(other, np.random.default_rng(chances))
        runs = tuple(replace(r, channels=fault.recorded(r, len(session.runs))) for r in session.runs)
        told, error = _judged(replace(session, runs=runs), truth, estimate)
        found[name] = Caught(bool(told & fault.codes), bool(codes & fault.codes), error, twin_error)
    return found


def _judged(session: Session, truth: Truth, estimate: Estimate) -> tuple[frozenset[str], float | None]:
    """What was warned of, and the error of the difference; a refusal tells of everything and answers nothing."""
    try:
        result = estimate(session)
    except SessionRefused:
        return frozenset().union(*(fault.codes for fault in FAULTS.values())), None
    said = result.comparisons[0].delta_cda_m2
    codes = frozenset(w.code for w in result.warnings)
    return codes, None if said is None else said - truth.run_delta_m2[result.comparisons[0].changed]

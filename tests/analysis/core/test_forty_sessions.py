"""The proof of the joint estimator: forty simulated sessions whose truth is known.

Eight runs ABBAABBA of 1,500 m out and back, 1 Hz; power noise 3 % a second, air speed 0.15 m/s, scatter from run
to run 0.0012 m2, wind 2.5 m/s with 25 % gusts of 40 m and a mean that wanders 0.3 m/s in 10 minutes, altimeter
noise 0.15 m and drift 1.5 m in an hour; B - A drawn within +-0.02 m2; half of the mounts sag. The simulator
integrates the motion and shares no code with the estimator. A constant, and gains calibrated run by run, fail.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from analysis.core.assemble import Chain, link
from analysis.core.course import lay_out
from analysis.core.repeatability import cells_of, pooled
from analysis.core.samples import prepare
from analysis.core.session import estimate
from analysis.core.simulate.session import simulate_session
from analysis.core.simulate.world import Truth, World
from analysis.core.types import Session, SessionResult
from tests.analysis.core.conftest import Once

ALARMS = {
    "airspeed_drift", "airspeed_gain", "airspeed_blocked", "power_drift", "power_dropout", "speed_mismatch",
    "clock_offset",
    "gaps", "traffic", "outlier_run", "run_unusable",
}  # fmt: skip


@dataclass
class Simulated:
    session: Session
    truth: Truth
    sagging: bool
    result: SessionResult


@pytest.fixture(scope="module")
def forty(once: Once) -> list[Simulated]:
    return once("forty", computed)


def computed() -> list[Simulated]:
    out = []
    for seed in range(40):
        rng = np.random.default_rng(7_000 + seed)
        sagging = seed % 2 == 1
        world = World(delta_cda_m2=(float(rng.uniform(-0.02, 0.02)),), sag_per_hour=-0.04 if sagging else 0.0)
        session, truth = simulate_session(world, rng)
        out.append(Simulated(session, truth, sagging, estimate(session)))
    return out


Estimator = Callable[[Simulated], np.ndarray]


def by_the_estimator(s: Simulated) -> np.ndarray:
    return np.array([r.cda_m2 for r in s.result.runs])


def by_a_constant(s: Simulated) -> np.ndarray:
    return np.full(len(s.truth.run_cda_m2), 0.24)


def by_gains_of_single_runs(s: Simulated) -> np.ndarray:
    """The same balance, but every run calibrates the air sensor by its own closure."""
    chain = linked(s.session)
    assert chain.evidence.log_gain is not None
    return np.asarray(chain.evidence.apparent_m2 * np.exp(2 * chain.evidence.log_gain))


def linked(session: Session) -> Chain:
    first = session.runs[0].channels
    assert first is not None
    assert first.latitude_rad is not None
    assert first.longitude_rad is not None
    origin = (float(first.latitude_rad[0]), float(first.longitude_rad[0]))
    runs = [r for r in (prepare(session, run, origin) for run in session.runs) if r is not None]
    layout = lay_out(runs, session.course)
    return link(session, [r.scaled(layout.wheel_scale) for r in runs], layout)


def errors(sessions: list[Simulated], by: Estimator) -> tuple[float, float]:
    """RMS error of the runs after a constant common to the session, and of B - A against the runs' own."""
    runs, differences = [], []
    for s in sessions:
        miss = by(s) - s.truth.run_cda_m2
        changed = np.array([r.setup == "B" for r in s.session.runs])
        runs.append(np.mean((miss - miss.mean()) ** 2))
        differences.append((miss[changed].mean() - miss[~changed].mean()) ** 2)
    return float(np.sqrt(np.mean(runs))), float(np.sqrt(np.mean(differences)))


def keeps_the_limits(forty: list[Simulated], by: Estimator) -> bool:
    clean = errors([s for s in forty if not s.sagging], by)
    sagging = errors([s for s in forty if s.sagging], by)
    return clean[0] <= 0.0015 and sagging[0] <= 0.0030 and clean[1] <= 0.0010 and sagging[1] <= 0.0014


def test_runs_and_differences_are_as_close_as_promised(forty):
    clean, sagging = errors(forty[::2], by_the_estimator), errors(forty[1::2], by_the_estimator)
    assert clean[0] <= 0.0015
    assert clean[1] <= 0.0010
    assert sagging[0] <= 0.0030
    assert sagging[1] <= 0.0014
    assert keeps_the_limits(forty, by_the_estimator)


def test_the_reported_difference_is_that_of_the_runs(forty):
    miss = [s.result.comparisons[0].delta_cda_m2 - s.truth.run_delta_m2["B"] for s in forty]
    assert np.sqrt(np.mean(np.square(miss[::2]))) <= 0.0010
    assert np.sqrt(np.mean(np.square(miss[1::2]))) <= 0.0014


@pytest.mark.parametrize("foil", [by_a_constant, by_gains_of_single_runs])
def test_what_must_not_pass_does_not(forty, foil):
    assert not keeps_the_limits(forty, foil)


def test_the_absolute_interval_holds_the_truth(forty):
    inside = [
        all(s.ci95_m2[0] <= one.truth.setup_cda_m2[s.label] <= s.ci95_m2[1] for s in one.result.setups) for one in forty
    ]
    assert sum(inside) >= 36


def test_the_interval_of_the_difference_holds_the_setups_difference(forty):
    truth = [s.truth.setup_cda_m2["B"] - s.truth.setup_cda_m2["A"] for s in forty]
    held = [
        s.result.comparisons[0].ci95_m2[0] <= d <= s.result.comparisons[0].ci95_m2[1]
        for s, d in zip(forty, truth, strict=True)
    ]
    assert sum(held) >= 35  # at 95 % true coverage fewer than 35 of 40 happens in 1.4 % of such batches


def test_every_sag_is_named_within_one_run_of_its_start(forty):
    for s in forty[1::2]:
        (found,) = [w for w in s.result.warnings if w.code == "airspeed_drift"]
        first = int(found.where.split()[1].split("-")[0])
        assert abs(first - s.truth.sag_began_run) <= 1


def test_clean_sessions_raise_hardly_an_alarm(forty):
    loud = [s for s in forty[::2] if any(w.code in ALARMS and w.level != "note" for w in s.result.warnings)]
    assert len(loud) <= 1


def test_earlier_sessions_tell_how_a_run_repeats(forty):
    """Runs scatter by the rider's 0.0012 m2 and by what the sensors miss; 120 degrees tell the SD to 6.5 %."""
    clean = forty[::2]
    found = pooled([areas for s in clean for areas in cells_of(s.result).values()])
    assert found.df == 120
    assert found.sd_m2 == pytest.approx(np.hypot(0.0012, errors(clean, by_the_estimator)[0]), rel=3 * 0.065)

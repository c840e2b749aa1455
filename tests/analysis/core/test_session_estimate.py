"""The whole result of a session: refusals, figures that must be null, assumptions, budget, several setups."""

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from analysis.core.session import estimate
from analysis.core.simulate.session import simulate_session
from analysis.core.simulate.world import World
from analysis.core.types import Course, Questions, Repeatability, Session, SessionRefused, Setup


@pytest.fixture(scope="module")
def session() -> Session:
    return simulate_session(World(delta_cda_m2=(-0.006,)), np.random.default_rng(12))[0]


@pytest.fixture(scope="module")
def result(session):
    return estimate(session)


def powered(session: Session, factor: float) -> Session:
    return replace(
        session,
        runs=tuple(replace(r, channels=replace(r.channels, power_w=factor * r.channels.power_w)) for r in session.runs),
    )


# refusals


def test_a_track_is_refused_with_a_sentence(session):
    with pytest.raises(SessionRefused, match="course is a track"):
        estimate(replace(session, course=Course("track", 250.0)))


def test_a_session_without_any_power_is_refused(session):
    runs = tuple(replace(r, channels=replace(r.channels, power_w=None)) for r in session.runs)
    with pytest.raises(SessionRefused, match="No run has power"):
        estimate(replace(session, runs=runs))


def test_a_session_without_runs_is_refused(session):
    with pytest.raises(SessionRefused, match="no runs"):
        estimate(replace(session, runs=()))


# what the result holds


def test_every_run_is_there_and_a_left_out_one_without_figures(session):
    runs = (replace(session.runs[2], left_out="a gate"), *session.runs[:2], *session.runs[3:])
    found = estimate(replace(session, runs=runs)).runs
    assert [r.number for r in found] == list(range(1, 9))
    assert (found[2].cda_m2, found[2].u_m2, found[2].used_s) == (None, None, None)
    assert all(r.cda_m2 is not None for r in found if r.number != 3)


def test_used_and_left_out_seconds_are_the_whole_run(session, result):
    for run, given in zip(result.runs, session.runs, strict=True):
        assert run.used_s + run.left_out_s == pytest.approx(np.ptp(given.channels.time_s), abs=1e-6)
        assert run.used_s > 0.75 * (run.used_s + run.left_out_s)


def test_the_ridden_difference_is_that_of_the_drag_area_unless_tyres_changed(result):
    c = result.comparisons[0]
    assert c.ridden_delta_m2 == c.delta_cda_m2
    assert c.ridden_ci95_m2 == c.ci95_m2
    assert (c.delta_crr, c.ci95_crr) == (None, None)


def test_one_comparison_needs_no_wider_simultaneous_interval(result):
    assert result.comparisons[0].simultaneous_ci95_m2 == pytest.approx(result.comparisons[0].ci95_m2, rel=1e-9)


def test_the_absolute_interval_holds_what_the_inner_one_leaves_out(result):
    for s in result.setups:
        assert s.ci95_m2[0] < s.ci95_within_m2[0] < s.cda_m2 < s.ci95_within_m2[1] < s.ci95_m2[1]


def test_the_inner_intervals_are_as_doubtful_as_the_difference():
    """Four runs: the variance of a difference is that of both means (within the session), its t the same."""
    few = estimate(simulate_session(World(order="ABBA"), np.random.default_rng(3))[0])
    half = [np.ptp(s.ci95_within_m2) / 2 for s in few.setups]
    # a tenth: the means share some of the sensors' noise and the prior on the gain's departure is the difference's own
    assert np.hypot(*half) == pytest.approx(np.ptp(few.comparisons[0].ci95_m2) / 2, rel=0.10)


def test_the_difference_is_that_of_the_setups(result):
    a, b = result.setups
    assert result.comparisons[0].delta_cda_m2 == pytest.approx(b.cda_m2 - a.cda_m2, abs=1e-12)


def test_watts_and_seconds_belong_to_the_difference(session):
    asked = replace(session, questions=Questions((10.0, 12.5), (40_000.0,), (250.0, 300.0)))
    c = estimate(asked).comparisons[0]
    assert [w.speed_mps for w in c.watts] == [10.0, 12.5]
    assert [t.power_w for t in c.time] == [250.0, 300.0]
    assert c.watts[1].delta_w / c.watts[0].delta_w == pytest.approx(1.25**3)  # P = 1/2 rho dCdA v^3 / eta
    assert c.watts[0].ci95_w[0] < c.watts[0].delta_w < c.watts[0].ci95_w[1]
    assert all(t.ci95_s[0] < t.delta_s < t.ci95_s[1] < 0 for t in c.time)  # 0.006 m2 faster


def test_the_same_session_gives_the_same_result(session, result):
    assert estimate(session).comparisons == result.comparisons


def test_priors_and_convention_are_stated(result):
    assert "wind-axis" in result.assumptions["drag_area_convention"]
    assert result.assumptions["standard_deviations"]["airspeed_gain_near_sensor"] == 0.005
    assert result.assumptions["standard_deviations"]["airspeed_gain_elsewhere"] == 0.001
    assert result.assumptions["repeatability"] is None


def test_history_narrows_the_interval_of_a_short_session_and_says_so(session):
    short = replace(session, runs=session.runs[:4])
    known = replace(short, repeatability=Repeatability(0.0012, 30.0))
    alone, helped = estimate(short), estimate(known)
    assert np.ptp(helped.comparisons[0].ci95_m2) < 0.85 * np.ptp(alone.comparisons[0].ci95_m2)
    assert helped.assumptions["repeatability"]["df"] == 30.0


def test_a_changed_position_costs_interval(session, result):
    a, b = session.setups
    seats = replace(
        session,
        setups=(Setup("A", {"position": {"pad_stack_mm": 610}}), Setup("B", {"position": {"pad_stack_mm": 600}})),
    )
    assert (a.label, b.label) == ("A", "B")
    assert np.ptp(estimate(seats).comparisons[0].ci95_m2) > 1.3 * np.ptp(result.comparisons[0].ci95_m2)


def test_several_setups_are_told_together():
    world = World(order="ABCCBAABC", delta_cda_m2=(-0.008, 0.008))
    result = estimate(simulate_session(world, np.random.default_rng(13))[0])
    assert [(c.changed, c.verdict) for c in result.comparisons] == [("B", "faster"), ("C", "slower")]
    for c in result.comparisons:
        assert np.ptp(c.simultaneous_ci95_m2) > 1.05 * np.ptp(c.ci95_m2)


def test_tyres_at_two_speeds_tell_rolling_from_drag():
    world = World(order="ABBA", delta_cda_m2=(0.0,), delta_crr_by_setup=(0.0, 0.0005), factor="items.tyres")
    fast, _ = simulate_session(world, np.random.default_rng(14))
    slow, _ = simulate_session(replace(world, power_w=120.0, start_speed_mps=7.0), np.random.default_rng(14))
    late = fast.runs[-1].channels.time_s[-1] + 300.0
    slow_runs = (
        replace(r, number=r.number + 4, channels=replace(r.channels, time_s=r.channels.time_s + late))
        for r in slow.runs
    )
    both = estimate(replace(fast, runs=(*fast.runs, *slow_runs))).comparisons[0]
    assert both.ci95_crr[0] < 0.0005 < both.ci95_crr[1]
    assert np.ptp(both.ci95_crr) < 2 * 1.96 * 0.0005  # narrower than its prior
    assert both.verdict == "slower"


# the budget


@pytest.mark.parametrize(
    ("source", "changed"),
    [
        ("power meter gain", lambda s: powered(s, 1.012)),
        ("drivetrain efficiency", lambda s: replace(s, drivetrain_efficiency=s.drivetrain_efficiency + 0.005)),
    ],
)
def test_a_budget_line_is_what_a_change_of_its_input_does(session, result, source, changed):
    """JCGM 100:2008, 5.1.3: the effect is the change of the result when the input moves by its uncertainty.

    It is small: in gusts the rider's inertia weighs the drag against the mass, and the power's gain ends in Crr.
    """
    (line,) = [b for b in result.budget if b.source == source]
    moved = np.mean([s.cda_m2 for s in estimate(changed(session)).setups]) - np.mean([s.cda_m2 for s in result.setups])
    assert abs(moved) == pytest.approx(line.on_cda_m2, rel=0.25)


def test_the_budget_adds_up_to_the_intervals(result):
    """Root sum of squares (JCGM 100:2008, eq. 10): of the difference, and of the drag area."""
    c = result.comparisons[0]
    total = np.sqrt(sum(b.on_delta_m2**2 for b in result.budget))
    assert total == pytest.approx(c.ridden_u_m2, rel=0.03)  # the common sources add their share of a small difference
    absolute = np.sqrt(sum(b.on_cda_m2**2 for b in result.budget))
    assert np.ptp(result.setups[0].ci95_m2) / 2 / absolute == pytest.approx(2.0, abs=0.5)  # the t factor


def test_what_is_common_widens_the_drag_area_and_not_the_difference(result):
    for b in result.budget:
        if b.source in ("power meter gain", "drivetrain efficiency", "rolling resistance", "air-speed gain by closure"):
            assert b.on_delta_m2 < 0.15 * b.on_cda_m2


def test_only_light_libraries_are_loaded():
    """Starting is half of the command's time: numpy, scipy.linalg and scipy.special, nothing more."""
    heavy = ("scipy.stats", "scipy.optimize", "pyarrow", "django")
    code = f"import sys, analysis.core.session; print([m for m in {heavy} if m in sys.modules])"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"

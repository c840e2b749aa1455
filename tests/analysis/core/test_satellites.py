"""Late satellite fixes, and the places of runs and legs: checked against simulated sessions whose truth is known."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.core import course, satellites
from analysis.core.balance import Clocks, Frame, Noise, _System
from analysis.core.findings import Findings
from analysis.core.session import _prepared, estimate
from analysis.core.simulate import World, simulate_rides, simulate_session
from analysis.core.simulate.course import TABLE_STEP_M
from analysis.core.stretches import add_up
from analysis.core.types import Session

HILLY = World(undulation_m=1.5)


def prepared(session: Session):
    runs = _prepared(session, Findings(session))
    return runs, course.lay_out(runs, session.course)


@pytest.mark.parametrize("late_s", [-0.5, 0.0, 0.6])
def test_the_delay_of_the_fixes_is_read_where_riders_slow(late_s):
    session, _ = simulate_session(replace(HILLY, position_delay_s=late_s), np.random.default_rng(3))
    runs, layout = prepared(session)
    told, u = satellites.lateness(runs, list(layout.passes))
    assert told == pytest.approx(late_s, abs=3 * u)
    assert u < 0.15


def test_without_positions_there_is_no_delay_to_doubt():
    session, _ = simulate_session(replace(HILLY, positions=False), np.random.default_rng(3))
    runs, layout = prepared(session)
    assert satellites.lateness(runs, list(layout.passes)) == (0.0, 0.0)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_late_fixes_on_an_undulating_road_leave_the_absolute_drag_area_inside_its_interval(seed):
    session, truth = simulate_session(replace(HILLY, position_delay_s=0.6), np.random.default_rng(seed))
    low, high = estimate(session).setups[0].ci95_m2
    assert low < truth.setup_cda_m2["A"] < high


def test_slopes_at_the_marks_are_those_of_the_road():
    """On the way back a stretch is met from its far mark: taken for the near one, short waves of the road vanish."""
    session, _, rides = simulate_rides(replace(HILLY, wind_mps=0.5), np.random.default_rng(4))
    runs, layout = prepared(session)
    rows = add_up(runs, layout, session.drivetrain_efficiency, 0.3)
    noise = Noise(power_relative=0.03, speed_mps=0.01, air_mps=0.1, run_m=0.5, leg_m=0.3, ahead_m=0.5)
    frame = Frame(session.crr, noise, Clocks(np.zeros(2), np.full(2, 0.4)), closed=False, marks=layout.marks_m.size)
    system = _System(rows, np.zeros(len(runs), dtype=np.intp), frame)
    system.fit(rows.sound)
    path, first = rides[0].path, layout.passes[0]
    ridden = np.interp(layout.marks_m, first.along_m, runs[0].distance_m[first.first : first.last + 1])
    road = np.array([path.slope()[round(d / TABLE_STEP_M)] for d in ridden])
    assert float(np.ptp(road)) > 0.03
    missed = float(np.std(system.slope - road))
    assert missed < 0.35 * float(np.std(road))  # metres of place and the rider's effort blur them; a neighbour's: 0.7

"""The air's delay by the turns, on simulated sessions: the wide world's delays and lags, and clocks seconds apart."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.core.clocks import air_late_at_turns
from analysis.core.course import lay_out
from analysis.core.samples import prepare
from analysis.core.simulate import SCENARIOS, World, draw_world, simulate_session
from analysis.core.types import Session


def late_by_turns(session: Session) -> float | None:
    c = session.runs[0].channels
    origin = (float(c.latitude_rad[0]), float(c.longitude_rad[0]))
    runs = [prepare(session, run, origin) for run in session.runs]
    return air_late_at_turns(runs, lay_out(runs, session.course))


@pytest.mark.parametrize("delay_s", [-3.0, -0.4, 0.0, 0.7, 3.0, 8.0])
def test_the_turns_tell_the_delay_of_the_air(delay_s):
    session, _ = simulate_session(World(airspeed_delay_s=delay_s), np.random.default_rng(21))
    assert late_by_turns(session) == pytest.approx(delay_s, abs=0.5)


def test_a_sensors_lag_counts_as_delay_in_the_wide_world():
    misses = []
    for seed in range(6):
        rng = np.random.default_rng([31, seed])
        world = replace(draw_world(SCENARIOS["wheels"], rng), power_w=280.0, wind_mps=2.0)
        session, _ = simulate_session(world, rng)
        misses.append(late_by_turns(session) - world.airspeed_delay_s - world.airspeed_lag_s)
    assert np.sqrt(np.mean(np.square(misses))) < 0.35


def test_a_lap_has_no_turns():
    session, _ = simulate_session(World(kind="lap", order="AB"), np.random.default_rng(22))
    assert late_by_turns(session) is None

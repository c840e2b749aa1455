"""The air's delay by the turns, on simulated sessions: the wide world's delays and lags, and clocks seconds apart."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.core.clocks import air_late_at_turns, power_late_at_turns
from analysis.core.course import lay_out
from analysis.core.samples import Samples, prepare
from analysis.core.simulate import SCENARIOS, World, draw_world, simulate_session
from analysis.core.types import Course, Session
from tests.analysis.core.steadily import steady


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


def rides(late_s: int, roundabout: bool) -> list[Samples]:
    """Three out and backs on the level without wind, by the equation of motion; at the turn the rider brakes, pedals
    softly round a roundabout or turns at once, and pushes again to be as fast as before."""
    slow = [11.0, 10.0, 9.0, *([8.2] * 7 if roundabout else [7.2, 5.4, 4.0])]
    speed = np.array([*[11.6] * 130, *slow, *(11.6 - (11.6 - slow[-1]) * np.exp(-np.arange(1.0, 131.0) / 12.0))])
    grown = 0.5 * 80.0 * np.diff(speed**2, prepend=speed[0] ** 2)
    needed = grown + 0.15 * speed**3 + 3.0 * speed
    power = np.where(needed > 40.0, needed, 0.0)
    power[130 : 130 + len(slow)] = 40.0 if roundabout else 0.0
    ride = steady(
        11.6, 1.0, speed.size, speed_mps=speed, distance_m=np.cumsum(speed), air_mps=speed,
        power_w=np.roll(power, late_s),
    )  # fmt: skip
    return [ride] * 3


@pytest.mark.parametrize("roundabout", [True, False])
@pytest.mark.parametrize("late_s", [0, 3, -2])
def test_how_a_rider_takes_a_turn_is_no_delay_of_the_power(late_s, roundabout):
    runs = rides(late_s, roundabout)
    turn_m = float(runs[0].distance_m[135])
    layout = lay_out(runs, Course("out_and_back", turn_m))
    assert len(layout.passes) == 6
    assert power_late_at_turns(runs, layout) == pytest.approx(late_s, abs=0.5)

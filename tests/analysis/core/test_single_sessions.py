"""Single sessions away from the proof's world: stronger wind, laps, four runs, poor instruments.

Limits are three times those of the forty sessions; the simulator shares no code with the estimator.
"""

from dataclasses import replace

import numpy as np
import pytest

from analysis.core.session import estimate
from analysis.core.simulate.session import simulate_session
from analysis.core.simulate.world import World
from analysis.core.types import Channels, Session

WORLDS = {
    "wind of 5 m/s": World(wind_mps=5.0),
    "hardly any wind": World(wind_mps=0.5),
    "three laps of 1 km": World(kind="lap", length_m=1000.0, laps=3),
    "two laps of 2.5 km": World(kind="lap", length_m=2500.0, laps=2),
    "laps in wind of 5 m/s": World(kind="lap", length_m=1000.0, laps=3, wind_mps=5.0),
    "four runs": World(order="ABBA"),
    "no tilt, sagging": World(tilt=False, sag_per_hour=-0.04),
    "no positions": World(positions=False),
    "laps without positions": World(kind="lap", length_m=1000.0, laps=3, positions=False),
    "no yaw": World(yaw=False),
    "a wheel 0.3 % off": World(wheel_error=0.003),
    "starts and turns 4 m off": World(start_scatter_sd_m=4.0, turn_scatter_sd_m=4.0),
    "a sensor that reads 8 % low": World(gain=0.92),
    "streams half a second late": World(power_delay_s=0.5, airspeed_delay_s=0.4),
}


def errors(session: Session, truth) -> tuple[float, float]:
    result = estimate(session)
    miss = np.array([r.cda_m2 for r in result.runs]) - truth.run_cda_m2
    return float(np.std(miss)), abs(result.comparisons[0].delta_cda_m2 - truth.run_delta_m2["B"])


@pytest.mark.parametrize("name", WORLDS)
def test_a_session_keeps_three_times_the_limits(name):
    world = WORLDS[name]
    runs, difference = errors(*simulate_session(world, np.random.default_rng(41)))
    sag = bool(world.sag_per_hour)
    assert runs <= (0.0090 if sag else 0.0045)
    assert difference <= (0.0042 if sag else 0.0030)


def edited(session: Session, change) -> Session:
    return replace(session, runs=tuple(replace(r, channels=change(r.channels)) for r in session.runs))


def every_other(c: Channels) -> Channels:
    fields = [f for f in c.__dataclass_fields__ if getattr(c, f) is not None]
    return replace(c, **{f: getattr(c, f)[::2] for f in fields})


def some_lost(c: Channels) -> Channels:
    lost = np.random.default_rng(3).random(c.time_s.size) < 0.04
    return replace(
        c, power_w=np.where(lost, np.nan, c.power_w), airspeed_mps=np.where(lost[::-1], np.nan, c.airspeed_mps)
    )


POORER = {
    "half a sample a second": every_other,
    "samples lost here and there": some_lost,
    "no distance": lambda c: replace(c, distance_m=None),
    "no wheel speed": lambda c: replace(c, speed_mps=None),
    "no altimeter": lambda c: replace(c, altitude_m=None),
}


@pytest.mark.parametrize("name", POORER)
def test_a_poorer_recording_keeps_them_too(name):
    session, truth = simulate_session(World(), np.random.default_rng(42))
    runs, difference = errors(edited(session, POORER[name]), truth)
    assert runs <= 0.0045
    assert difference <= 0.0030


@pytest.mark.parametrize("kind", ["out_and_back", "lap"])
def test_without_air_speed_the_interval_is_wide_and_holds_the_difference(kind):
    length = 1500.0 if kind == "out_and_back" else 1000.0
    held = []
    for seed in range(5):
        session, truth = simulate_session(
            World(kind=kind, length_m=length, airspeed=False), np.random.default_rng(seed)
        )
        low, high = estimate(session).comparisons[0].ci95_m2
        held.append(low <= truth.setup_cda_m2["B"] - truth.setup_cda_m2["A"] <= high)
        assert 0.004 < (high - low) / 2 < 0.03
    assert sum(held) >= 4  # fewer has a chance of 2 % where 95 % hold; the yardstick counts many


def test_a_side_wind_that_turns_widens_what_no_air_sensor_saw():
    """5 m/s from the side, turning by 10 degrees in ten minutes (DESIGN section 7), is felt along the course."""
    half, held = {0.0: 0.0, 5.0: 0.0}, []
    for wind in half:
        for seed in range(4):
            world = World(airspeed=False, wind_mps=wind, wind_from_rad=np.radians(150), wind_wander_rad=np.radians(10))
            session, truth = simulate_session(world, np.random.default_rng(200 + seed))
            low, high = estimate(session).comparisons[0].ci95_m2
            half[wind] += (high - low) / 8
            held.append(low <= truth.setup_cda_m2["B"] - truth.setup_cda_m2["A"] <= high)
    assert half[5.0] > 1.9 * half[0.0]
    assert sum(held) >= 6  # of eight: fewer has a chance of 0.6 % where 95 % hold

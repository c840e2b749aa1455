"""Passing vehicles against gusts: simulated sessions whose vehicles are known."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.signal import lfilter

from analysis.core.airsensor import measure_gusts
from analysis.core.lulls import LULL_Z, suspects, unlike_gusts
from analysis.core.samples import Samples
from analysis.core.session import estimate
from analysis.core.simulate import World, simulate_session
from analysis.core.simulate.world import Brake, Vehicle
from analysis.core.types import Session
from tests.analysis.core.steadily import on_laps, steady

CALM = World(wind_mps=2.0, gust_intensity=0.2, start_scatter_sd_m=2.0, turn_scatter_sd_m=2.0)
VEHICLES = (Vehicle(3, 60.0, 8.0, 3.5, 0.9), Vehicle(6, 200.0, 6.0, 3.5, 1.0))


def named(session: Session) -> set[str]:
    return {w.where for w in estimate(session).warnings if w.code == "traffic"}


@pytest.mark.parametrize("kind", ["out_and_back", "lap"])
def test_runs_that_met_vehicles_are_named_and_no_others(kind):
    world = replace(CALM, kind=kind, vehicles=VEHICLES)
    session, _ = simulate_session(world, np.random.default_rng(41))
    assert named(session) == {"run 3", "run 6"}


def test_a_wake_that_sensor_and_rider_feel_alike_is_found_as_well():
    """The energy balance cannot see it: only the air tells that it is no gust."""
    session, _ = simulate_session(replace(CALM, vehicles=(Vehicle(5, 90.0, 9.0, 3.0, 1.0),)), np.random.default_rng(42))
    assert named(session) == {"run 5"}


def test_gusts_are_no_vehicles():
    gusty = replace(CALM, wind_mps=4.5, gust_intensity=0.3)
    assert not any(named(simulate_session(gusty, np.random.default_rng(seed))[0]) for seed in range(43, 48))


def test_what_a_vehicle_took_is_left_out():
    plain, _ = simulate_session(CALM, np.random.default_rng(41))
    passed, truth = simulate_session(replace(CALM, vehicles=VEHICLES), np.random.default_rng(41))
    with_them, without = estimate(passed), estimate(plain)
    assert with_them.runs[2].left_out_s > without.runs[2].left_out_s + 8.0
    assert abs(with_them.comparisons[0].delta_cda_m2 - truth.run_delta_m2["B"]) < 0.002


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_brake_on_a_windy_lap_is_no_vehicle(seed):
    """The wind in the bends slows and speeds a rider as much as a touch of the brake: only the air tells them apart."""
    windy = World(
        kind="lap", length_m=1100.0, wind_mps=4.0, gust_intensity=0.25, brakes=(Brake(4, 1650.0, 15.0, 0.8, 0.7),)
    )
    session, _ = simulate_session(windy, np.random.default_rng(seed))
    warnings = estimate(session).warnings
    assert not [w for w in warnings if w.code == "traffic"]
    assert [w.where for w in warnings if w.code == "braking"] == ["run 4"]


def test_gaps_in_the_air_make_no_lull():
    """Where half a wake's length has no air speed nothing is read into what is left."""
    session, _ = simulate_session(replace(CALM, wind_mps=4.0), np.random.default_rng(44))
    air = session.runs[3].channels.airspeed_mps.copy()
    for start in range(40, 200, 23):
        air[start : start + 6] = np.nan
    channels = replace(session.runs[3].channels, airspeed_mps=air)
    runs = tuple(replace(r, channels=channels) if r.number == 4 else r for r in session.runs)
    assert named(replace(session, runs=runs)) == set()


def test_a_small_lull_counts_where_the_energy_of_its_stretch_is_odd():
    air = [np.where(np.arange(100) == 50, -4.5, 0.0)]
    runs = [SimpleNamespace(time_s=np.arange(100.0))]
    rows = SimpleNamespace(
        sound=np.array([True, True]),
        run=np.zeros(2),
        samples=lambda row, time_s: (slice(45, 56), slice(70, 81))[row],
    )
    found = suspects(air, runs, rows, np.array([4.0, 4.0]))
    assert np.flatnonzero(found[0]).tolist() == list(range(45, 56))
    assert not suspects(air, runs, rows, np.array([2.0, 4.0]))[0].any()


def recorded(hertz: int, rng: np.random.Generator) -> Samples:
    """Ten minutes of a lap in gusts of 0.4 m/s that last 4 s; every sample of the air has 0.4 m/s of noise."""
    n = 600 * hertz
    keep = np.exp(-0.25 / hertz)
    gust = lfilter([np.sqrt(1.0 - keep**2)], [1.0, -keep], rng.normal(0.0, 0.4, n))
    t = np.arange(n) / hertz
    return steady(
        10.0, 200.0, n, time_s=t, step_s=np.diff(t, prepend=0.0), distance_m=10.0 * t,
        air_mps=10.0 + gust + rng.normal(0.0, 0.4, n),
    )  # fmt: skip


@pytest.mark.parametrize("hertz", [1, 4, 10])
def test_noise_that_averages_out_within_a_second_is_no_lull(hertz):
    """Ten clean sessions: a fast recorder's noise is small in a mean over a second."""
    found = []
    for seed in range(10):
        rng = np.random.default_rng([8, seed])
        runs = [recorded(hertz, rng) for _ in range(4)]
        layout = on_laps(runs)
        kept = [r.time_s > 0.0 for r in runs]
        z = unlike_gusts(runs, layout, kept, 1.0, measure_gusts(runs, layout, kept, 1.0))
        found.append(min(x.min() for x in z) < -LULL_Z)
    assert sum(found) == 0

"""The integrator against the closed form of a coast-down, and the gusts against their spectrum."""

import math

import numpy as np
import pytest

from analysis.core.simulate.course import Path, Slow
from analysis.core.simulate.motion import Rolling, Weather, ride
from analysis.core.simulate.wind import gust_decay

# Worked case: rho 1.2, CdA 0.25, Crr 0.004, 80 kg, wheels 0.14 kg m2 at 0.311 m, g 9.80665, no bearing term.
BODY = Rolling(
    cda_m2=0.25,
    crr=0.004,
    mass_kg=80.0,
    effective_mass_kg=80.0 + 0.14 / 0.311**2,
    density_kg_m3=1.2,
    efficiency=0.975,
    gravity_mps2=9.80665,
    bearing_w_s_m=0.0,
    bearing_w_s2_m2=0.0,
)


def level(length_m: float, slows: tuple[Slow, ...] = ()) -> Path:
    zeros = np.zeros(math.ceil(length_m) + 3)
    return Path(length_m, zeros, zeros, zeros, zeros, slows)


def still(seconds: int) -> Weather:
    return Weather(mean_mps=np.zeros((seconds, 2)))


def coast(step_s: float, length_m: float = 175.0):
    return ride(level(length_m), BODY, np.zeros(60), still(60), 12.0, step_s)


def closed_form_speed(time_s: float) -> float:
    drag, roll = 0.5 * 1.2 * 0.25, 0.004 * 80 * 9.80665
    root = math.sqrt(drag / roll)
    return math.tan(math.atan(12.0 * root) - time_s * math.sqrt(drag * roll) / BODY.effective_mass_kg) / root


def test_coast_down_takes_the_time_and_the_road_of_the_closed_form():
    # m' dv/dt = -(F + k v^2) integrated: 12 -> 8 m/s in 18.42666234 s over 180.2014234 m (own arithmetic, mpmath).
    # Tolerance: the step's own error, 1e-6 of the speed at 0.1 s.
    ridden = coast(0.1, 185.0)
    time = 0.1 * np.arange(1, len(ridden.speed_mps) + 1)
    assert np.interp(-8.0, -ridden.speed_mps, time) == pytest.approx(18.42666234, abs=2e-4)
    assert np.interp(-8.0, -ridden.speed_mps, ridden.distance_m) == pytest.approx(180.2014234, abs=2e-3)


def test_the_step_is_of_second_order():
    errors = [abs(coast(h).speed_mps[round(16 / h) - 1] - closed_form_speed(16.0)) for h in (0.5, 0.25, 0.125)]
    assert [math.log2(a / b) for a, b in zip(errors, errors[1:], strict=False)] == pytest.approx([2, 2], abs=0.1)


def test_energy_lost_in_coasting_is_the_work_of_drag_and_rolling():
    ridden = coast(0.1)
    speed = np.append(12.0, ridden.speed_mps)
    middle = (speed[1:] + speed[:-1]) / 2
    work = np.sum((0.5 * 1.2 * 0.25 * middle**2 + 0.004 * 80 * 9.80665) * middle * 0.1)
    lost = 0.5 * BODY.effective_mass_kg * (12.0**2 - speed[-1] ** 2)
    assert lost == pytest.approx(work, rel=1e-5)  # midpoint sums: second order in 0.1 s


def test_a_climb_costs_its_height_and_a_descent_gives_it_back():
    height = 3.0 * np.sin(np.arange(1203) * 2 * math.pi / 1200) ** 2
    hill = Path(1200.0, np.zeros(1203), height, np.zeros(1203), np.zeros(1203))
    free = Rolling(0.0, 0.0, 80.0, 80.0, 1.2, 1.0, 9.80665, 0.0, 0.0)
    ridden = ride(hill, free, np.zeros(200), still(200), 10.0, 0.1)
    energy = 0.5 * ridden.speed_mps**2 + 9.80665 * np.interp(ridden.distance_m, np.arange(1203), height)
    assert np.ptp(energy) < 0.1  # of 50 J/kg; the slope is held over a step of a metre


def test_the_turn_is_reached_at_its_speed_without_pedalling():
    ridden = ride(level(300, (Slow(200, 3.0, 2.1),)), BODY, np.full(200, 250.0), still(200), 10.0, 0.1)
    turn = int(np.searchsorted(ridden.distance_m, 200.0))
    assert ridden.speed_mps[turn] == pytest.approx(3.0, abs=0.25)
    assert np.all(ridden.power_w[turn - 20 : turn] == 0)
    assert ridden.speed_mps.min() >= 2.8


def test_a_stop_stands_for_its_time_and_goes_on():
    ridden = ride(level(300, (Slow(200, 0.0, 2.1, 12.0),)), BODY, np.full(200, 250.0), still(200), 10.0, 0.1)
    assert np.sum(ridden.speed_mps == 0) * 0.1 == pytest.approx(12.0, abs=0.5)
    assert ridden.distance_m[-1] >= 300


def test_wind_from_the_left_is_positive_and_a_headwind_adds():
    north = level(50)  # heading 0: north
    air = Weather(mean_mps=np.tile([2.0, -1.0], (60, 1)))  # blows to the east and to the south
    ridden = ride(north, BODY, np.full(60, 200.0), air, 10.0, 0.1)
    assert ridden.cross_mps == pytest.approx(2.0)
    assert ridden.along_mps - ridden.speed_mps == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize(
    ("speed", "length", "step", "phi"),
    [(10, 20, 1, 0.606530660), (12, 50, 1, 0.786627861), (12, 50, 0.1, 0.976285710)],
)
def test_gust_decay_is_the_dryden_filter_in_discrete_time(speed, length, step, phi):
    # exp(-V dt / L), own arithmetic to nine digits; the Dryden form is that of MIL-F-8785C.
    assert gust_decay(speed, length, step) == pytest.approx(phi, abs=5e-10)


def gusts(length_m: float = 40.0, seconds: int = 6000):
    noise = np.random.default_rng(5).normal(size=(seconds * 5 + 2, 2))
    air = Weather(np.zeros((seconds, 2)), gust_sd_mps=0.625, gust_length_m=length_m, noise=noise)
    ridden = ride(level(50_000), BODY, np.full(seconds, 250.0), air, 10.0, 0.2)
    return ridden.cross_mps, float(np.mean(np.hypot(ridden.along_mps, ridden.cross_mps)))


def test_gusts_have_the_stated_variance():
    # about 600 independent gusts in 50 km: the standard error of the variance is 6 %
    assert np.var(gusts()[0]) == pytest.approx(0.625**2, rel=0.18)


def test_gusts_forget_over_their_length():
    gust, air_speed = gusts()
    lag = round(40.0 / air_speed / 0.2)  # correlation 1/e after one length of air; standard error 0.04
    assert np.corrcoef(gust[:-lag], gust[lag:])[0, 1] == pytest.approx(math.exp(-1), abs=0.12)

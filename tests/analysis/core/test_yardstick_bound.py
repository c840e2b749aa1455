"""The information bound: its algebra against brute force, its noise against the simulator, its reach by an oracle."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import cho_factor, cho_solve

from analysis.core.simulate import SCENARIOS, draw_world, simulate_rides
from analysis.core.yardstick.bound import (
    contrast,
    covariance_of_rows,
    information_bound,
    linearised,
)
from analysis.core.yardstick.linear import SPEED_SAMPLES, WIDE, Linear, altimeter_rows, known, layout
from analysis.core.yardstick.stretches import cut

CLEAN = {"stops": (), "brakes": (), "lost_share": 0.0}


def ridden(seed: int, name: str = "four-runs", **changes):
    scenario = SCENARIOS[name]
    rng = np.random.default_rng([11, seed])
    world = replace(draw_world(scenario, rng), **CLEAN, **changes)
    session, truth, rides = simulate_rides(world, rng)
    return world, scenario, session, truth, rides


def bound(seed: int = 0, name: str = "four-runs", **changes) -> float:
    world, scenario, _, _, rides = ridden(seed, name, **changes)
    return float(information_bound(world, scenario, rides).difference_m2[0])


def test_the_posterior_is_what_brute_force_gives():
    # Unknowns from their priors, rows from the unknowns with unit noise, generalised least squares: 4,000 times.
    world, scenario, _, _, rides = ridden(0)
    stretches, marks = cut(world, rides)
    k = known(world, scenario, rides)
    model = linearised(k, stretches, marks.size)
    weights, rng = contrast(model, k, 1), np.random.default_rng(1)
    truth = rng.normal(size=(4000, model.prior_sd.size)) * model.prior_sd
    seen = truth @ model.rows.T + rng.normal(size=(4000, len(model.rows)))
    augmented = np.vstack([model.rows, np.diag(1 / model.prior_sd)])  # priors as readings: another way to solve
    padded = np.hstack([seen, np.zeros_like(truth)])
    solved = np.linalg.lstsq(augmented, padded.T, rcond=None)[0].T
    errors = (solved - truth) @ weights
    assert errors.std() == pytest.approx(bound(0), rel=0.04)  # 3.5 standard errors of a deviation from 4,000


def oracle_error(seed: int, name: str) -> tuple[float, float]:
    """Error of least squares that knows the true noise, on what the simulator's instruments recorded."""
    world, scenario, session, truth, rides = ridden(seed, name)
    stretches, marks = cut(world, rides)
    k, rng = known(world, scenario, rides), np.random.default_rng([5, seed])
    slices, prior = layout(k, marks.size, int(stretches.ride.max()) + 1)
    design, covariance = covariance_of_rows(k, stretches, slices, prior.size)
    energy, along, across = observed(world, session, stretches, rides, k, rng)
    drawn, sensed = stretches.energy_ok > 0, stretches.air_ok > 0
    rows = np.concatenate([energy[drawn], along[sensed], across[sensed]])
    shifts = rng.normal(size=int(stretches.ride.max()) + 1) * prior[slices["place"]]
    rows[: drawn.sum()] += design[: drawn.sum(), slices["place"]] @ shifts
    height = [altimeter_rows(k, stretches, ride, slices, prior.size) for ride in range(int(stretches.ride.max()) + 1)]
    factor = cho_factor(covariance)
    normal = design.T @ cho_solve(factor, design) + np.diag(prior**-2.0)
    right = design.T @ cho_solve(factor, rows)
    for part in height:
        normal += part.T @ part
        right += part.T @ rng.normal(size=len(part))
    solved = np.linalg.solve(normal, right)
    weights = contrast(Linear(np.empty((0, prior.size)), prior, slices), k, 1)
    true = truth.run_delta_m2["B"] / truth.setup_cda_m2["A"] * world.cda_m2  # at no yaw: the oracle knows that share
    return float(weights @ solved - true), float(np.sqrt(weights @ np.linalg.solve(normal, weights)))


def observed(world, session, s, rides, k, rng):
    """Balances less the drag area of A, the true rolling and the true height; closures less the speed."""
    n = s.run.size
    energy, along, across = np.zeros(n), np.zeros(n), np.zeros(n)
    begin, end = s.time_s - s.duration_s / 2, s.time_s + s.duration_s / 2
    for run, (entry, ride) in enumerate(zip(session.runs, rides, strict=True)):
        own, c, step = s.run == run, entry.channels, ride.ride.step_s
        clock = ride.begins_s + np.arange(c.time_s.size + 1.0)
        fine = ride.begins_s + step * np.arange(ride.ride.speed_mps.size + 1)

        def sums(rate, at, own=own):
            total = np.concatenate([[0.0], np.cumsum(rate) * (at[1] - at[0])])
            return np.interp(end[own], at, total) - np.interp(begin[own], at, total)

        speed = np.add.reduceat(ride.ride.speed_mps, np.arange(0, 10 * c.time_s.size, 10)) / 10
        air = c.airspeed_mps / world.gain
        exposure = sums(0.5 * k.density[run] * air**2 / np.cos(c.yaw_rad) * speed, clock)
        along[own] = (sums(air, clock) - s.length_m[own]) / s.duration_s[own]
        across[own] = sums(air * np.tan(c.yaw_rad), clock) / s.duration_s[own]
        exact = ride.ride.power_w * k.world.drivetrain_efficiency
        error = k.world.drivetrain_efficiency * sums(c.power_w, clock) - sums(exact, fine)
        energy[own] = error + ride.body.cda_m2 * s.exposure[own] - world.cda_m2 * exposure
    mark = rng.normal(size=(n + 1, 2)) * k.mass_kg * world.speed_noise_mps / np.sqrt(SPEED_SAMPLES)
    chained = np.append(False, (s.ride[1:] == s.ride[:-1]))
    start = np.where(chained, mark[:-1, 0], mark[:-1, 1])
    return energy + mark[1:, 0] * s.end_mps - start * s.begin_mps, along, across


@pytest.mark.parametrize(("name", "sessions"), [("four-runs", 20)])
def test_an_oracle_reaches_the_bound_on_recorded_sessions(name, sessions):
    errors, sds = np.array([oracle_error(seed, name) for seed in range(sessions)]).T
    ratio = np.sqrt(np.mean(errors**2) / np.mean(sds**2))
    assert ratio == pytest.approx(1.0, abs=3.5 / np.sqrt(2 * sessions))  # 3.5 standard errors


NOISES = {
    "power_noise": (0.0, 0.08),
    "power_wander_sd": (0.0, 0.01),
    "airspeed_noise_mps": (0.01, 0.8),
    "speed_noise_mps": (0.0, 0.3),
    "wind_wander_mps": (0.01, 2.0),
    "gust_intensity": (0.01, 0.8),
    "position_wander_sd_m": (0.1, 20.0),
}


@pytest.mark.parametrize(("name", "levels"), NOISES.items())
def test_more_noise_never_lowers_the_bound(name, levels):
    world, scenario, _, _, rides = ridden(2, "position" if "wind" in name or "gust" in name else "four-runs")
    bounds = [
        float(information_bound(replace(world, **{name: level}), scenario, rides).difference_m2[0])
        for level in (levels[0], sum(levels) / 2, levels[1])
    ]
    assert bounds[0] < bounds[1] < bounds[2]


def test_a_wider_departure_of_the_gain_costs_more():
    world, _, _, _, rides = ridden(3, "position")
    names = ("position-half-departure", "position", "position-twice-departure")
    bounds = [float(information_bound(world, SCENARIOS[n], rides).difference_m2[0]) for n in names]
    assert bounds[0] < bounds[1] < bounds[2]


@pytest.mark.parametrize("altimeter_noise_m", [None, 50.0], ids=["altimeter", "none"])
def test_heights_known_beforehand_would_be_worth_next_to_nothing(monkeypatch, altimeter_noise_m):
    """Every run passes the same marks both ways: to know them to 2 cm narrows a difference by less than 0.5 %."""
    changes = {} if altimeter_noise_m is None else {"altimeter_noise_m": altimeter_noise_m}
    learnt = bound(0, "wheels", **changes)
    monkeypatch.setitem(WIDE, "height", 0.02)
    known_before = bound(0, "wheels", **changes)
    assert 0.995 * learnt < known_before < learnt


def test_without_noise_nearly_nothing_stays_unknown():
    quiet = {"power_noise": 1e-5, "power_wander_sd": 0.0, "airspeed_noise_mps": 1e-4, "speed_noise_mps": 1e-5}
    quiet |= {"wind_wander_mps": 1e-4, "wind_wander_rad": 0.0, "gust_intensity": 1e-4, "position_wander_sd_m": 1e-3}
    assert bound(4, **quiet) < 1e-4 < bound(4)


def test_no_air_sensor_costs_much_and_more_runs_pay():
    assert bound(0, "no-air") > 2 * bound(0, "wheels")
    assert bound(0, "sixteen-runs") < bound(0, "wheels") < bound(0, "four-runs")


def test_stretches_with_holes_and_wakes_are_left_out():
    for name in ("gaps", "traffic"):
        world, scenario, _, _, rides = ridden(1, name)
        stretches, _ = cut(world, rides)
        assert 0 < np.sum(stretches.energy_ok == 0) < 0.5 * stretches.run.size
        whole = replace(world, holes=(), vehicles=())
        assert (
            information_bound(world, scenario, rides).difference_m2[0]
            > 0.98 * information_bound(whole, scenario, rides).difference_m2[0]
        )


def test_the_cut_keeps_the_work_and_the_road():
    world, _, _, _, rides = ridden(0)
    stretches, marks = cut(world, rides)
    first = stretches.run == 0
    assert np.unique(np.round(stretches.length_m, 6)).size == 1
    assert stretches.length_m[first].sum() == pytest.approx(2 * (marks[-1] - marks[0]))
    held = 0.5 * stretches.air_mps**3 * stretches.duration_s * rides[0].body.density_kg_m3
    assert 0.7 < stretches.exposure[first].sum() / held[first].sum() < 1.4  # ground speed against air speed


def test_lap_stretches_close_the_ring():
    world, _, _, _, rides = ridden(0, "lap")
    stretches, marks = cut(world, rides)
    assert set(stretches.last.astype(int)) == set(range(marks.size))
    assert np.all(np.mod(stretches.first + 1, marks.size) == stretches.last)

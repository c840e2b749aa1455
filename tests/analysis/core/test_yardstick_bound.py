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
from analysis.core.yardstick.linear import SPEED_SAMPLES, altimeter_rows, known, layout
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
    drawn, sensed = stretches.energy_ok > 0, (stretches.air_ok > 0) & world.airspeed
    rows = np.concatenate([energy[drawn], along[sensed], across[sensed]])
    places = rng.normal(size=prior.size) * prior * (np.arange(prior.size) >= slices["place"].start)
    rows[: drawn.sum()] += design[: drawn.sum(), slices["place"]] @ places[slices["place"]]
    height = [altimeter_rows(k, stretches, ride, slices, prior.size) for ride in range(int(stretches.ride.max()) + 1)]
    factor = cho_factor(covariance)
    normal = design.T @ cho_solve(factor, design) + np.diag(prior**-2.0)
    right = design.T @ cho_solve(factor, rows)
    for part in height:
        normal += part.T @ part
        right += part.T @ rng.normal(size=len(part))
    solved = np.linalg.solve(normal, right)
    model = linearised(k, stretches, marks.size)
    weights = contrast(model, k, 1)
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
        if world.airspeed:
            air = c.airspeed_mps / world.gain
            yaw = c.yaw_rad - 0.0
            exposure = sums(0.5 * k.density[run] * air**2 / np.cos(yaw) * speed, clock)
            along[own] = sums(air, clock) / s.duration_s[own] - s.air_mps[own] + wind(s, ride, own, 0)
            across[own] = sums(air * np.tan(yaw), clock) / s.duration_s[own]
        else:
            exposure = s.exposure[own]
        exact = ride.ride.power_w * k.world.drivetrain_efficiency
        error = k.world.drivetrain_efficiency * sums(c.power_w, clock) - sums(exact, fine)
        energy[own] = error + ride.body.cda_m2 * s.exposure[own] - world.cda_m2 * exposure
    mark = rng.normal(size=(n + 1, 2)) * k.mass_kg * world.speed_noise_mps / np.sqrt(SPEED_SAMPLES)
    chained = np.append(False, (s.ride[1:] == s.ride[:-1]))
    start = np.where(chained, mark[:-1, 0], mark[:-1, 1])
    return energy + mark[1:, 0] * s.end_mps - start * s.begin_mps, along, across


def wind(s, ride, own, _):
    return s.air_mps[own] - s.length_m[own] / s.duration_s[own]


@pytest.mark.parametrize(("name", "sessions"), [("four-runs", 30)])
def test_an_oracle_reaches_the_bound_on_recorded_sessions(name, sessions):
    errors, sds = np.array([oracle_error(seed, name) for seed in range(sessions)]).T
    ratio = np.sqrt(np.mean(errors**2) / np.mean(sds**2))
    assert ratio == pytest.approx(1.0, abs=3.5 / np.sqrt(2 * sessions))  # 3.5 standard errors

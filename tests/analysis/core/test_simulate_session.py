"""A simulated session: what is recorded follows from what is true."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.core.simulate import Stop, World, simulate_session

QUIET = World(
    order="AB",
    run_scatter_sd_m2=0.0,
    wind_wander_mps=0.0,
    gust_intensity=0.0,
    power_noise=0.0,
    speed_noise_mps=0.0,
    airspeed_noise_mps=0.0,
    tilt_noise_rad=0.0,
    yaw_noise_rad=0.0,
    position_noise_m=0.0,
    position_wander_sd_m=0.0,
    altimeter_noise_m=0.0,
    altimeter_drift_m=0.0,
)


def drawn(seed: int = 1, **changes):
    return simulate_session(replace(QUIET, **changes), np.random.default_rng(seed))


def first_run(**changes):
    return drawn(**changes)[0].runs[0].channels


def test_the_same_seed_gives_the_same_session_and_another_another():
    runs = [simulate_session(World(order="AB"), np.random.default_rng(s))[0].runs[1].channels for s in (3, 3, 4)]
    assert np.array_equal(runs[0].airspeed_mps, runs[1].airspeed_mps)
    assert not np.array_equal(runs[0].airspeed_mps[:100], runs[2].airspeed_mps[:100])


@pytest.mark.parametrize("kind", ["out_and_back", "lap"])
def test_the_energy_balance_closes_on_perfect_instruments(kind):
    # eta sum(P dt) - dKE - bearings = CdA X + Crr m g length: the balance of Martin et al. (1998) on the channels.
    # Whole laps, or the leg out between equal heights; 0.2 % is what summing at 1 Hz costs.
    c, world = first_run(kind=kind, undulation_m=0.0), QUIET
    use = slice(0, int(np.argmax(c.power_w == 0)) - 1) if kind == "out_and_back" else slice(0, None)
    speed, air, flow = c.speed_mps[use], c.airspeed_mps[use], c.airspeed_mps[use] / np.cos(c.yaw_rad[use])
    middle = (speed[1:] + speed[:-1]) / 2
    density = (0.34848 * 1008 - 0.009 * 55 * np.exp(0.061 * 18)) / 291.15  # OIML R 111-1, E.3-1
    effective = world.mass_kg + 0.14 / (world.wheel_circumference_m / 2 / np.pi) ** 2
    work = 0.975 * np.sum(c.power_w[use][1:]) - 0.5 * effective * (speed[-1] ** 2 - speed[0] ** 2)
    work -= np.sum((91 + 8.7 * middle) * 1e-3 * middle)
    rolling = world.crr * world.mass_kg * world.gravity_mps2 * np.sum(middle)
    exposure = np.sum(0.5 * density * flow[1:] * air[1:] * middle)
    assert (work - rolling) / exposure == pytest.approx(0.2400, rel=2e-3)


def test_the_session_says_what_was_ridden():
    session, truth = simulate_session(World(), np.random.default_rng(2))
    assert "".join(run.setup for run in session.runs) == "ABBAABBA"
    assert session.runs[0].channels.time_s[0] == 0.0
    assert truth.setup_cda_m2 == {"A": 0.24, "B": pytest.approx(0.236)}
    delta = truth.run_cda_m2[[1, 2, 5, 6]].mean() - truth.run_cda_m2[[0, 3, 4, 7]].mean()
    assert truth.run_delta_m2["B"] == pytest.approx(delta)


def test_out_and_back_turns_at_the_stated_length_and_comes_home():
    c = first_run()
    assert c.distance_m[np.argmin(c.speed_mps)] == pytest.approx(1500, abs=8)
    assert c.distance_m[-1] == pytest.approx(3000, abs=15)
    assert c.latitude_rad[-1] == pytest.approx(c.latitude_rad[0], abs=15 / 6.37e6)


def test_a_lap_comes_back_to_its_start_in_place_and_height():
    c = first_run(kind="lap", laps=2)
    assert np.interp(1510, c.distance_m, c.latitude_rad) == pytest.approx(
        np.interp(10, c.distance_m, c.latitude_rad), abs=0.5 / 6.37e6
    )
    assert np.interp(1700, c.distance_m, c.altitude_m) == pytest.approx(
        np.interp(200, c.distance_m, c.altitude_m), abs=0.05
    )


def test_a_sagging_mount_lowers_the_gain_and_tilts_the_sensor():
    sagging = {"order": "A" * 6, "sag_per_hour": -0.04, "sag_from_h": 0.4, "tilt_feels_road": 0.0}
    (session, truth), (clean, _) = drawn(**sagging), drawn(order="A" * 6)
    ratio = [
        np.sum(r.channels.airspeed_mps) / np.sum(c.channels.airspeed_mps)
        for r, c in zip(session.runs, clean.runs, strict=True)
    ]
    middle = [r.channels.time_s.mean() / 3600 for r in session.runs]
    assert truth.sag_began_run == 4
    assert ratio == pytest.approx([1 - 0.04 * max(h - 0.4, 0) for h in middle], abs=1e-3)
    assert np.degrees(session.runs[-1].channels.tilt_rad.mean()) == pytest.approx(1.25 * (middle[-1] - 0.4), abs=0.01)


def test_a_setup_can_carry_its_own_gain_and_rolling():
    session, truth = drawn(gain=0.95, gain_by_setup=(0.0, 0.005), delta_crr_by_setup=(0.0, 0.0005))
    assert truth.gain_by_setup == {"A": 0.95, "B": pytest.approx(0.955)}
    assert truth.crr_by_setup["B"] == pytest.approx(0.0047)
    assert len(session.setups) == 2


def test_tilt_feels_the_slope_of_the_road():
    c = first_run()
    slope = np.gradient(c.altitude_m, c.distance_m)
    assert np.corrcoef(np.arctan(slope)[20:120], c.tilt_rad[20:120])[0, 1] > 0.95


def test_the_wheel_error_scales_speed_and_distance_but_not_places():
    off, true = first_run(wheel_error=0.003), first_run()
    assert off.distance_m == pytest.approx(true.distance_m * 1.003)
    assert off.speed_mps == pytest.approx(true.speed_mps * 1.003)
    assert np.array_equal(off.latitude_rad, true.latitude_rad)


def test_a_late_air_stream_shows_the_air_of_before():
    late, true = first_run(airspeed_delay_s=2.0), first_run()
    assert late.airspeed_mps[50:200] == pytest.approx(true.airspeed_mps[48:198])


@pytest.mark.parametrize(
    ("switch", "absent"),
    [
        ("airspeed", ("airspeed_mps", "yaw_rad", "tilt_rad")),
        ("yaw", ("yaw_rad",)),
        ("tilt", ("tilt_rad",)),
        ("positions", ("latitude_rad", "longitude_rad")),
    ],
)
def test_instruments_can_be_left_at_home(switch, absent):
    c = first_run(**{switch: False})
    assert all(getattr(c, name) is None for name in absent)
    assert c.power_w is not None


def test_a_stop_is_in_the_record_of_its_run_only():
    session, _ = drawn(stops=(Stop(2, 600.0, 15.0),))
    standing = [int(np.sum(run.channels.speed_mps < 0.1)) for run in session.runs]
    assert standing == [0, pytest.approx(15, abs=1)]


def test_three_setups_and_scatter_from_run_to_run():
    world = replace(QUIET, order="ABC" * 3, delta_cda_m2=(-0.01, 0.01), run_scatter_sd_m2=0.0012)
    session, truth = simulate_session(world, np.random.default_rng(3))
    assert [s.label for s in session.setups] == ["A", "B", "C"]
    assert set(truth.run_delta_m2) == {"B", "C"}
    residual = truth.run_cda_m2 - [truth.setup_cda_m2[r.setup] for r in session.runs]
    assert 0.0004 < residual.std() < 0.0025  # chi-square, 9 runs, 99.9 %


def test_the_mean_wind_wanders_through_the_pauses():
    world = replace(QUIET, order="A" * 12, wind_from_rad=0.0, bearing_rad=0.0, wind_wander_mps=2.0)
    session, _ = simulate_session(world, np.random.default_rng(8))
    start = [float(np.mean((r.channels.airspeed_mps - r.channels.speed_mps)[:5])) for r in session.runs]
    steps = np.diff(start)  # 2 m/s in 10 minutes is 1.9 m/s from run to run; 11 steps
    assert 0.9 < np.sqrt(np.mean(steps**2)) < 3.2


def test_a_run_that_cannot_be_ridden_is_refused():
    with pytest.raises(ValueError, match=r"run 1 ended after \d+ m of 3000 m"):
        drawn(power_w=1.0, wind_mps=0.0)

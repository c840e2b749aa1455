"""Every warning that the core can raise: raised by a session that deserves it, silent on a clean one."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.core.session import estimate
from analysis.core.simulate.session import simulate_session
from analysis.core.simulate.world import Brake, Stop, World
from analysis.core.types import Bike, Channels, Course, Session, SessionResult, Setup, WeatherReading

CLEAN = World(start_scatter_sd_m=2.0, turn_scatter_sd_m=2.0)


@pytest.fixture(scope="module")
def clean() -> Session:
    return simulate_session(CLEAN, np.random.default_rng(8))[0]


def edited(session: Session, change, *numbers: int) -> Session:
    """Channels of some runs changed; of all without numbers."""
    return replace(
        session,
        runs=tuple(
            replace(r, channels=change(r.channels)) if not numbers or r.number in numbers else r for r in session.runs
        ),
    )


def found(session: Session, code: str):
    return [w for w in estimate(session).warnings if w.code == code]


def the(session: Session, code: str):
    (warning,) = found(session, code)
    assert warning.what.endswith(".")
    assert warning.do.endswith(".")
    return warning


def between(name: str, start: int, stop: int, value):
    def change(c: Channels) -> Channels:
        series = getattr(c, name).copy()
        series[start:stop] = value(series[start:stop]) if callable(value) else value
        return replace(c, **{name: series})

    return change


def only(c: Channels, kept) -> Channels:
    return replace(c, **{f: getattr(c, f)[kept] for f in c.__dataclass_fields__ if getattr(c, f) is not None})


def test_a_clean_session_says_nothing(clean):
    assert estimate(clean).warnings == ()


# instruments


def test_a_drifting_mount_names_the_run_where_it_began():
    session, truth = simulate_session(World(sag_per_hour=-0.05, sag_from_h=0.5), np.random.default_rng(1))
    warning = the(session, "airspeed_drift")
    first, last = warning.where.removeprefix("runs ").split("-")
    assert abs(int(first) - truth.sag_began_run) <= 1
    assert last == "8"
    assert warning.level == "caution"


@pytest.mark.parametrize(("gain", "level"), [(0.7, "caution"), (1.4, "caution"), (0.4, "invalid"), (2.3, "invalid")])
def test_a_gain_far_from_one_is_told(clean, gain, level):
    session = edited(clean, lambda c: replace(c, airspeed_mps=gain * c.airspeed_mps))
    assert the(session, "airspeed_gain").level == level
    assert (estimate(session).comparisons[0].verdict == "invalid") == (level == "invalid")


def test_a_stuck_air_sensor_is_told_and_its_stretches_left_out(clean):
    stuck = edited(clean, between("airspeed_mps", 60, 130, 9.0), 4)
    assert the(stuck, "airspeed_blocked").where == "run 4"
    assert estimate(stuck).runs[3].left_out_s > estimate(clean).runs[3].left_out_s + 50


def test_a_run_with_another_gain_altogether_is_left_out(clean):
    session = edited(clean, lambda c: replace(c, airspeed_mps=0.7 * c.airspeed_mps), 4)
    assert the(session, "airspeed_blocked").where == "run 4"
    assert estimate(session).runs[3].cda_m2 is None


@pytest.mark.parametrize("stream", ["airspeed_delay_s", "power_delay_s"])
def test_a_late_stream_is_told(stream):
    session, _ = simulate_session(replace(CLEAN, **{stream: 3.0}), np.random.default_rng(2))
    assert the(session, "clock_offset").level == "caution"


def test_a_silent_power_meter_is_told(clean):
    assert the(edited(clean, between("power_w", 60, 75, 0.0), 3), "power_dropout").where == "run 3"


def test_a_hole_in_the_recording_is_told(clean):
    session = edited(clean, lambda c: only(c, np.r_[0:70, 90 : c.time_s.size]), 5)
    assert the(session, "gaps").where == "run 5"
    assert found(session, "traffic") == []


def test_a_wheel_one_percent_off_is_told_and_repaired():
    session, truth = simulate_session(replace(CLEAN, wheel_error=-0.01), np.random.default_rng(3))
    assert the(session, "speed_mismatch").where == "session"
    assert abs(estimate(session).comparisons[0].delta_cda_m2 - truth.run_delta_m2["B"]) < 0.002


def test_a_power_meter_that_drifts_is_told():
    session, _ = simulate_session(replace(CLEAN, run_scatter_sd_m2=0.0006), np.random.default_rng(4))

    def drifting(run):
        grown = run.channels.power_w * (1 + 0.006 * (run.number - 1))
        return replace(run, channels=replace(run.channels, power_w=grown))

    assert the(replace(session, runs=tuple(map(drifting, session.runs))), "power_drift").level == "caution"


def test_a_setup_that_moves_the_air_at_the_sensor_is_told():
    session, _ = simulate_session(
        replace(CLEAN, factor="position", gain_by_setup=(0.0, 0.04)), np.random.default_rng(5)
    )
    assert the(session, "airspeed_setup").where == "setup B"


def test_missing_channels_are_told(clean):
    assert the(edited(clean, lambda c: replace(c, yaw_rad=None)), "yaw_missing").level == "note"
    assert the(edited(clean, lambda c: replace(c, airspeed_mps=None, yaw_rad=None)), "no_airspeed").level == "caution"


def test_missing_weather_is_told_and_widens_the_absolute_interval(clean):
    bare = edited(clean, lambda c: replace(c, temperature_k=None, pressure_pa=None))
    assert the(bare, "weather_missing").level == "note"
    assert width(bare) > 1.2 * width(clean)
    noted = replace(bare, weather=(WeatherReading(0.0, 291.15, 100_800.0, 0.55),))
    assert found(noted, "weather_missing") == []


def width(session: Session) -> float:
    low, high = estimate(session).setups[0].ci95_m2
    return high - low


def test_air_outside_the_equation_is_told(clean):
    assert (
        the(edited(clean, lambda c: replace(c, temperature_k=c.temperature_k - 15)), "air_outside_equation").level
        == "note"
    )


def test_air_that_changed_is_told():
    session, _ = simulate_session(replace(CLEAN, warming_k_per_hour=8.0), np.random.default_rng(6))
    assert the(session, "air_changed").level == "note"


# plan and runs


def left_out(session: Session, *numbers: int) -> Session:
    return replace(
        session, runs=tuple(replace(r, left_out="a gate") if r.number in numbers else r for r in session.runs)
    )


def test_an_order_that_does_not_cancel_drift_is_told():
    session, _ = simulate_session(replace(CLEAN, order="AAABBB"), np.random.default_rng(7))
    assert the(session, "unbalanced_order").level == "note"


def test_two_runs_a_setup_are_too_few(clean):
    warnings = found(left_out(clean, 5, 6, 7, 8), "few_runs")
    assert [w.where for w in warnings] == ["setup A", "setup B"]


def test_one_run_a_setup_decides_nothing(clean):
    comparison = estimate(left_out(clean, 3, 4, 5, 6, 7, 8)).comparisons[0]
    assert comparison.verdict == "undecided"
    assert comparison.ci95_m2 is None
    assert comparison.delta_cda_m2 is not None


def changed(session: Session, **factors) -> Session:
    a, b = session.setups
    return replace(session, setups=(a, Setup("B", dict(a.factors) | factors)))


def test_more_than_one_change_is_confounded_and_named(clean):
    warning = the(changed(clean, **{"items.wheels": "Tarn 50", "clothing": "long sleeves"}), "confounded")
    assert "clothing, items.wheels" in warning.what
    assert warning.where == "setup B"


def test_a_position_with_all_its_coordinates_is_one_change(clean):
    assert found(changed(clean, position={"pad_stack_mm": 600, "pad_reach_mm": 450}), "confounded") == []


def test_tyres_at_one_speed_cannot_be_told_from_drag(clean):
    session = changed(clean, tyre_pressure_kpa={"front": 480, "rear": 500})
    assert the(session, "rolling_not_separated").where == "setup B"
    comparison = estimate(session).comparisons[0]
    assert comparison.delta_crr is not None
    assert np.ptp(comparison.ci95_m2) > 1.5 * np.ptp(comparison.ridden_ci95_m2)


def test_a_vehicle_is_told_and_its_stretch_left_out(clean):
    warning = the(edited(clean, between("power_w", 60, 78, lambda p: p - 70.0), 6), "traffic")
    assert warning.where == "run 6"


def test_braking_away_from_the_turn_is_told():
    world = replace(CLEAN, order="ABBA", stops=(Stop(run=2, at_m=700.0, wait_s=8.0),))
    session, _ = simulate_session(world, np.random.default_rng(9))
    assert the(session, "braking").where == "run 2"
    assert found(session, "power_dropout") == []


def test_a_run_far_from_its_twins_is_told(clean):
    odd = edited(clean, lambda c: replace(c, power_w=1.10 * c.power_w), 6)
    assert the(odd, "outlier_run").where == "run 6"


def test_a_run_ridden_the_other_way_round_is_told():
    ahead, _ = simulate_session(replace(CLEAN, order="AABBA"), np.random.default_rng(10))
    other = replace(CLEAN, order="AABBA", bearing_rad=CLEAN.bearing_rad + np.pi)
    back, _ = simulate_session(other, np.random.default_rng(10))
    session = replace(ahead, runs=(*ahead.runs[:3], back.runs[3], ahead.runs[4]))
    assert the(session, "wrong_way").where == "run 4"


def test_a_run_without_power_is_left_out_and_told(clean):
    session = edited(clean, lambda c: replace(c, power_w=None), 2)
    assert the(session, "run_unusable").where == "run 2"
    assert estimate(session).runs[1].cda_m2 is None


# no verdict


def no_figures(result: SessionResult) -> bool:
    return all(r.cda_m2 is None for r in result.runs) and {c.verdict for c in result.comparisons} == {"invalid"}


def test_another_course_than_stated_is_invalid(clean):
    session = replace(clean, course=Course("out_and_back", 2600.0))
    assert the(session, "course_mismatch").level == "invalid"
    assert no_figures(estimate(session))


def test_a_mass_that_cannot_be_known_is_invalid(clean):
    session = replace(clean, system_mass_kg=None, rider_mass_kg=None)
    assert the(session, "mass_missing").level == "invalid"
    assert no_figures(estimate(session))


def test_rider_and_bike_stand_in_for_the_system_mass(clean):
    session = replace(clean, system_mass_kg=None, rider_mass_kg=72.4, bike=Bike(8.9))
    assert the(session, "mass_missing").level == "note"
    assert estimate(session).comparisons[0].verdict != "invalid"


def test_a_setup_without_a_usable_run_is_invalid(clean):
    session = left_out(clean, 2, 3, 6, 7)
    assert the(session, "setup_unmatched").where == "setup B"
    result = estimate(session)
    assert result.comparisons[0].verdict == "invalid"
    assert result.setups[0].cda_m2 is not None


def test_a_third_setup_without_a_run_leaves_the_others_their_verdict(clean):
    session = replace(clean, setups=(*clean.setups, Setup("C")))
    assert the(session, "setup_unmatched").where == "setup C"
    verdicts = {c.changed: c.verdict for c in estimate(session).comparisons}
    assert verdicts["B"] == estimate(clean).comparisons[0].verdict
    assert verdicts["C"] == "invalid"


def test_the_mass_of_a_left_out_run_is_not_needed(clean):
    weighed = tuple(replace(r, system_mass_kg=82.0) for r in clean.runs if r.number != 8)
    unweighed = replace(clean.runs[7], left_out="stopped at a gate")
    session = replace(clean, system_mass_kg=None, rider_mass_kg=None, runs=(*weighed, unweighed))
    assert found(session, "mass_missing") == []


def test_asked_questions_stay_where_nothing_can_be_said(clean):
    (comparison,) = estimate(left_out(clean, 2, 3, 6, 7)).comparisons
    assert [(w.speed_mps, w.delta_w) for w in comparison.watts] == [(pytest.approx(40 / 3.6), None)]
    assert [(t.distance_m, t.delta_s) for t in comparison.time] == [(40_000.0, None)]


def test_an_undecided_difference_that_more_runs_cannot_decide_says_so():
    """The cockpit's own gain is shared by all its runs; three hours of it do not shrink the doubt."""
    setups = (Setup("A", {"items.cockpit": "one"}), Setup("B", {"items.cockpit": "other"}))
    session = replace(simulate_session(World(delta_cda_m2=(0.0,)), np.random.default_rng(3))[0], setups=setups)
    comparison = estimate(session).comparisons[0]
    assert (comparison.verdict, comparison.more_runs_needed) == ("undecided", None)
    assert the(session, "low_power_test").where == "setup B"


def test_what_the_readers_found_is_kept(clean):
    note = the(edited(clean, lambda c: replace(c, yaw_rad=None)), "yaw_missing")
    session = replace(clean, notes=(replace(note, code="file_damaged", level="caution"),))
    assert [w.code for w in estimate(session).warnings] == ["file_damaged"]


def test_a_brake_under_power_is_no_traffic():
    world = replace(CLEAN, brakes=(Brake(4, 700.0, 20.0, 0.9, 0.9),))
    session, _ = simulate_session(world, np.random.default_rng(9))
    assert found(session, "traffic") == []
    assert the(session, "braking").where == "run 4"


def test_a_rider_who_drifts_as_riders_do_is_no_power_drift():
    world = replace(CLEAN, order="ABBAABBAABBA", rider_drift_m2_per_hour=0.004, run_scatter_sd_m2=0.0006)
    session, _ = simulate_session(world, np.random.default_rng(10))
    assert found(session, "power_drift") == []

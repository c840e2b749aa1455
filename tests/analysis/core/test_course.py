"""Places on the course: turns, laps, alignment by satellites, the wheel's scale."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.core.course import lay_out
from analysis.core.samples import prepare
from analysis.core.simulate.session import simulate_session
from analysis.core.simulate.world import Brake, Hole, World
from analysis.core.types import Course
from tests.analysis.core.steadily import block_m, squared, steady


def laid(world: World, seed=3, course=None):
    session, _ = simulate_session(world, np.random.default_rng(seed))
    first = session.runs[0].channels
    origin = None if first.latitude_rad is None else (float(first.latitude_rad[0]), float(first.longitude_rad[0]))
    runs = [prepare(session, r, origin) for r in session.runs]
    return runs, lay_out(runs, course or session.course)


def true_place(world: World, runs, p) -> np.ndarray:
    """Where the simulated rider was: satellites without error, along the course's bearing."""
    r = runs[p.run]
    own = slice(p.first, p.last + 1)
    return r.east_m[own] * np.sin(world.bearing_rad) + r.north_m[own] * np.cos(world.bearing_rad)


EXACT = World(order="ABBA", position_noise_m=0.0, position_wander_sd_m=0.0)


def spread_between_passes(world: World) -> float:
    """Largest distance between passes at what they take for the same place, in metres."""
    runs, layout = laid(world)
    marks = layout.marks_m[1:-1]
    seen = []
    for p in layout.passes:
        order = np.argsort(p.along_m)
        seen.append(np.interp(marks, p.along_m[order], true_place(world, runs, p)[order]))
    return float(np.ptp(np.array(seen), axis=0).max())


@pytest.mark.parametrize(
    "world",
    [
        EXACT,
        replace(EXACT, start_scatter_sd_m=5.0),
        replace(EXACT, turn_scatter_sd_m=5.0),
        replace(EXACT, wheel_error=0.003),
    ],
    ids=["as planned", "late starts", "other turns", "wrong wheel"],
)
def test_every_pass_meets_the_marks_at_the_same_places(world):
    assert spread_between_passes(world) < 1.0


def at_the_turn(after_s: float, for_s: float) -> World:
    """Run 2 without its samples from so long after the turn (before it: negative) on."""
    whole, _ = laid(EXACT)
    turn = next(p for p in laid(EXACT)[1].passes if p.run == 1).last
    hole = Hole(2, float(whole[1].time_s[turn] - whole[1].time_s[0]) + after_s, for_s)
    return replace(EXACT, holes=(hole,))


@pytest.mark.parametrize("after_s", [-14.0, -8.0, -3.0])
def test_a_turn_that_was_not_recorded_is_found_from_both_its_sides(after_s):
    assert spread_between_passes(at_the_turn(after_s, 17.0)) < 2.0


def test_a_turn_without_speed_is_found_by_the_satellites():
    runs, whole = laid(EXACT)
    turn = whole.passes[0].last
    lost = runs[0].speed_mps.copy()
    lost[turn - 15 : turn + 16] = np.nan
    again = lay_out([replace(runs[0], speed_mps=lost), *runs[1:]], Course("out_and_back", EXACT.length_m))
    assert abs(again.passes[0].last - turn) <= 1


def test_a_slow_place_after_the_turn_is_not_the_turn_where_a_gap_came_before_it():
    crawl = Brake(run=2, at_m=EXACT.length_m + 20.0, over_m=60.0, firm_mps2=1.6, pedalling=1.0)
    assert spread_between_passes(replace(at_the_turn(-22.0, 15.0), brakes=(crawl,))) < 1.5


@pytest.mark.parametrize("from_s", [-14.0, -10.0, -6.0])
@pytest.mark.parametrize("crawl_m", [40.0, 60.0])
def test_a_slow_place_after_the_turn_is_not_the_turn_where_that_was_not_recorded(from_s, crawl_m):
    crawl = Brake(run=2, at_m=EXACT.length_m + crawl_m, over_m=60.0, firm_mps2=1.6, pedalling=1.0)
    assert spread_between_passes(replace(at_the_turn(from_s, 20.0), brakes=(crawl,))) < 1.5


def test_without_satellites_the_turn_keeps_passes_together():
    world = replace(EXACT, positions=True)
    runs, _ = laid(world)
    blind = [replace(r, east_m=None, north_m=None) for r in runs]
    layout = lay_out(blind, Course("out_and_back", 1500.0, world.bearing_rad))
    at = [
        np.interp(750.0, p.along_m[np.argsort(p.along_m)], true_place(world, runs, p)[np.argsort(p.along_m)])
        for p in layout.passes
    ]
    assert np.ptp(at) < 3.0


@pytest.mark.parametrize("error", [-0.01, 0.0, 0.003])
def test_satellites_tell_the_wheels_circumference(error):
    _, layout = laid(World(order="ABBA", wheel_error=error))
    assert layout.wheel_scale == pytest.approx(1 / (1 + error), abs=4 * layout.wheel_scale_u + 5e-4)


def test_a_bend_is_not_taken_for_a_short_wheel():
    _, layout = laid(World(order="ABBA", kind="lap", length_m=1000.0, laps=3))
    assert layout.wheel_scale == pytest.approx(1.0, abs=0.003)
    assert layout.closed


def test_bends_do_not_shorten_the_satellites_lap():
    """Chords and means over cells cut a bend of 50 m by 0.15 % of such a lap; what is left is the fixes' own error."""
    world = World(order="ABBA", kind="lap", length_m=1000.0, laps=3, bend_radius_m=50.0)
    scales = [laid(world, seed)[1].wheel_scale for seed in range(8)]
    assert np.mean(scales) == pytest.approx(1.0, abs=0.0010)


def test_corners_do_not_shorten_the_satellites_lap():
    """A chord over a street corner is shorter than the way by up to a third: that is no wrong wheel."""
    runs = [squared(steady(8.0, 200.0, int(2.0 * block_m() / 8.0) + 1)) for _ in range(4)]
    layout = lay_out(runs, Course("lap", block_m()))
    assert layout.no_path == ()
    assert layout.wheel_scale == pytest.approx(1.0, abs=0.0010)


def test_a_recorder_that_leaves_samples_out_keeps_the_wheel():
    """Each pass's fixes lie beside the road by metres of their own; a sample every 5 s is nearly 60 m of way."""
    rng = np.random.default_rng(5)
    runs = []
    for _ in range(8):
        out = steady(11.0, 200.0, 274)
        east = np.minimum(out.distance_m, 3014.0 - out.distance_m)
        beside = rng.normal(0.0, 3.0, 2)
        some = np.unique(np.r_[0, np.cumsum(rng.integers(1, 8, 90)), 137]).clip(0, 273)
        r = steady(11.0, 200.0, np.unique(some).size)
        k = np.unique(some)
        speed = np.where(np.abs(out.time_s[k] - 137.0) < 3.0, 4.0, 11.0)
        runs.append(
            replace(
                r, time_s=out.time_s[k], step_s=np.diff(out.time_s[k], prepend=0.0), distance_m=out.distance_m[k],
                speed_mps=speed, east_m=east[k], north_m=np.where(out.time_s[k] < 137.0, *beside),
            )
        )  # fmt: skip
    layout = lay_out(runs, Course("out_and_back", 1507.0))
    assert layout.no_path == ()
    assert layout.wheel_scale == pytest.approx(1.0, abs=0.0015)


def test_laps_are_unwound_and_their_length_found():
    _, layout = laid(World(order="AB", kind="lap", length_m=1000.0, laps=3))
    assert layout.marks_m[-1] == pytest.approx(1000.0, abs=4.0)
    assert all(2900.0 < np.ptp(p.along_m) < 3010.0 for p in layout.passes)


def joined(first, second):
    """Two prepared runs as one: the second goes on where the first ended."""
    later, farther = first.time_s[-1] + 1.0, first.distance_m[-1]
    arrays = {
        f: np.concatenate([getattr(first, f), getattr(second, f)])
        for f in ("speed_mps", "power_w", "step_s", "east_m", "north_m")
    }
    return replace(
        first,
        time_s=np.concatenate([first.time_s, second.time_s - second.time_s[0] + later]),
        distance_m=np.concatenate([first.distance_m, second.distance_m + farther]),
        **arrays,
    )


def test_two_out_and_backs_in_one_run_are_four_legs():
    runs, _ = laid(replace(EXACT, order="AABB"))
    layout = lay_out([joined(*runs[:2]), joined(*runs[2:])], Course("out_and_back", 1500.0, EXACT.bearing_rad))
    assert layout.no_path == ()
    assert [p.direction for p in layout.passes] == [1, -1, 1, -1] * 2


def test_another_length_is_not_taken_for_the_course():
    _, layout = laid(World(order="AB"), course=Course("out_and_back", 2300.0))
    assert layout.no_path == (0, 1)
    assert layout.passes == ()


def test_an_unmeasured_course_is_measured_by_its_turn():
    _, layout = laid(World(order="AB"), course=Course("out_and_back", None, np.radians(60)))
    assert [p.direction for p in layout.passes] == [1, -1, 1, -1]


def test_a_run_ridden_the_other_way_round_is_turned():
    world = World(order="ABBA", kind="lap", length_m=1000.0, laps=2)
    runs, _ = laid(world)
    # turned round about the start's heading: the other way round the same lap
    east, north = runs[2].east_m[::-1].copy(), runs[2].north_m[::-1].copy()
    layout = lay_out([*runs[:2], replace(runs[2], east_m=east, north_m=north), runs[3]], Course("lap", 1000.0))
    assert layout.reversed_runs == (2,)
    assert [p.direction for p in layout.passes] == [1, 1, -1, 1]

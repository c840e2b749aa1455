"""Turns of an out and back, one after the other, on rides drawn by hand."""

import numpy as np
import pytest

from analysis.core.course import lay_out
from analysis.core.types import Course
from tests.analysis.core.steadily import steady


def to_and_fro(legs: int, leg_m: float):
    """So many legs at 10 m/s with four slow seconds at each turn, without satellites; the road is level."""
    legs_s, turn_s = int(leg_m / 10.0) - 2, 4
    leg = [10.0] * legs_s
    speed = np.array([*leg, *([5.0] * turn_s + leg) * (legs - 1)])
    return steady(10.0, 200.0, speed.size, speed_mps=speed, distance_m=np.cumsum(speed) - speed[0])


@pytest.mark.parametrize("legs", [2, 4, 6, 10])
def test_the_way_round_every_turn_may_add_up_over_many_legs(legs):
    """Every leg is 20 m longer by the wheel than the stated course: the width of the road, ridden round."""
    layout = lay_out([to_and_fro(legs, 720.0)], Course("out_and_back", 700.0))
    assert layout.no_path == ()
    assert [p.direction for p in layout.passes] == [1, -1] * (legs // 2)


def test_runs_of_unequal_length_share_their_marks():
    layout = lay_out([to_and_fro(legs, 720.0) for legs in (2, 6)], Course("out_and_back", 700.0))
    assert len(layout.passes) == 8
    assert all(p.along_m.min() < layout.marks_m[1] < layout.marks_m[-2] < p.along_m.max() for p in layout.passes)


def test_a_leg_without_its_turn_is_no_path():
    ride = to_and_fro(4, 720.0)
    straight_on = np.where(np.abs(ride.time_s - 142.0) < 10.0, 10.0, ride.speed_mps)
    smooth = steady(10.0, 200.0, ride.time_s.size, speed_mps=straight_on, distance_m=np.cumsum(straight_on) - 10.0)
    assert lay_out([smooth], Course("out_and_back", 700.0)).no_path == (0,)


def test_soft_pedalling_into_a_turn_belongs_to_the_turn():
    """The last 80 m before the turn with 40 W, hardly slower: the marks end before it."""
    ride = to_and_fro(2, 720.0)
    soft = (ride.distance_m > 640.0) & (ride.distance_m < 740.0)
    eased = steady(
        10.0, 200.0, ride.time_s.size, speed_mps=ride.speed_mps, distance_m=ride.distance_m,
        power_w=np.where(soft, 40.0, 200.0),
    )  # fmt: skip
    assert lay_out([eased], Course("out_and_back", 720.0)).marks_m[-1] < 660.0

"""Heights of the marks by the altimeter, on steady rides over a known road."""

import numpy as np
import pytest

from analysis.core.altimeter import heights_by_altimeter
from analysis.core.stretches import add_up
from tests.analysis.core.steadily import on_laps, steady


def climbed(lap_m: float, drift_mps: float, laps: float = 1.0):
    """A lap over one hill of 6 m, ridden at 10 m/s with an altimeter that drifts evenly."""
    ride = steady(10.0, 200.0, int(laps * lap_m / 10.0) + 1)
    height = 3.0 - 3.0 * np.cos(2.0 * np.pi * ride.distance_m / lap_m)
    return steady(10.0, 200.0, ride.time_s.size, altitude_m=50.0 + height + drift_mps * ride.time_s)


@pytest.mark.parametrize("laps", [1.0, 2.0])
def test_runs_of_a_single_lap_tell_the_heights_across_their_start(laps):
    """A run of one lap ends beside its start: what is missing there follows from closing the lap."""
    runs = [climbed(1000.0, drift, laps) for drift in (0.002, -0.002, 0.001, -0.001)]
    layout = on_laps(runs)
    rows = add_up(runs, layout, 1.0, spin_mass_kg=0.0)
    heights, sd = heights_by_altimeter(rows, layout.marks_m.size - 1, closed=True)
    true = 3.0 - 3.0 * np.cos(2.0 * np.pi * layout.marks_m[1:-1] / 1000.0)
    assert heights[1:] - heights[1] == pytest.approx(true - true[0], abs=0.25)
    assert sd.max() < 0.3


def test_a_lap_is_trusted_no_better_than_the_altimeters_drift():
    """Four laps that differ by 2 m in all they climbed know their mean to about a metre."""
    runs = [climbed(1000.0, drift) for drift in (0.02, -0.02, 0.02, -0.02)]
    layout = on_laps(runs)
    rows = add_up(runs, layout, 1.0, spin_mass_kg=0.0)
    assert 0.7 < heights_by_altimeter(rows, layout.marks_m.size - 1, closed=True)[1].min() < 2.0

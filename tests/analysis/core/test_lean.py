"""Lean and the path of the centre of mass on a track, against the geometry solved with another tool."""

import numpy as np
import pytest
from scipy.optimize import brentq

from analysis.core.lean import lean, track_lap

PRINT = 1e-6  # relative: the table is printed to seven digits


def test_every_row_of_the_track_geometry_table(reference_table):
    t = reference_table("track_lean")
    found = lean(t["speed_mps"], t["radius_m"], t["height_m"])
    assert np.degrees(found.lean_rad) == pytest.approx(t["lean_deg"], rel=PRINT)
    assert found.radius_m == pytest.approx(t["centre_radius_m"], rel=PRINT)
    assert found.speed_mps == pytest.approx(t["centre_speed_mps"], rel=PRINT)
    assert found.speed_mps / t["speed_mps"] == pytest.approx(t["speed_ratio"], rel=PRINT)
    assert (found.speed_mps / t["speed_mps"]) ** 3 == pytest.approx(t["ratio_cubed"], rel=PRINT)
    assert found.load == pytest.approx(t["load"], rel=PRINT)


def test_the_load_is_that_of_gravity_and_the_centripetal_force():
    found = lean(14.0, 25.0, 1.0)
    sideways = float(found.speed_mps) ** 2 / float(found.radius_m)
    assert found.load == pytest.approx(np.hypot(9.80665, sideways) / 9.80665, rel=1e-12)


@pytest.mark.parametrize("speed", [0.5, 5.0, 14.0, 25.0, 60.0])
@pytest.mark.parametrize("radius", [3.0, 20.0, 500.0])
def test_any_speed_has_the_lean_that_a_bracketing_solver_finds(speed, radius):
    """scipy.optimize.brentq between upright and flat on the ground."""

    def unbalanced(angle: float) -> float:
        inner = radius - 1.0 * np.sin(angle)
        return np.tan(angle) - (speed * inner / radius) ** 2 / (9.80665 * inner)

    root = brentq(unbalanced, 0.0, np.pi / 2 - 1e-9, xtol=1e-14)
    assert lean(speed, radius, 1.0).lean_rad == pytest.approx(root, rel=1e-9)


def test_an_idealised_lap_has_its_figures():
    """250 m, half circles of 25 m, 14 m/s, centre of mass at 1.0 m (30-digit arithmetic, printed to eight digits)."""
    found = track_lap(14.0, 25.0, 250.0, 1.0)
    assert (found.bends_m, found.straights_m) == pytest.approx((157.07963, 92.920367), rel=5e-8)
    assert found.duration_s == pytest.approx(17.857143, rel=5e-8)
    assert found.path_m == pytest.approx(246.13628, rel=5e-8)
    assert found.mean_speed_mps == pytest.approx(13.783632, rel=5e-8)
    assert found.drag_factor == pytest.approx(0.95476644, rel=5e-8)
    assert lean(14.0, 25.0, 1.0).drop_m == pytest.approx(0.21141857, rel=5e-8)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: lean(14.0, 0.9, 1.0), "height_m must be below radius_m"),
        (lambda: lean(0.0, 25.0, 1.0), "speed_mps must be above 0 and finite; got 0"),
        (lambda: track_lap(14.0, 50.0, 250.0, 1.0), "length_m must be 314.159 or more, .* got 250"),
    ],
)
def test_a_bend_that_cannot_be_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()

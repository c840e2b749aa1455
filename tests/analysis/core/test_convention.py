"""Drag-area conventions: one force written in three ways (geometry; Martin et al. 1998 for the along-track one)."""

import numpy as np
import pytest

from analysis.core.convention import STATED, convert

TEN = np.radians(10.0)


def test_a_wind_axis_area_has_its_body_axis_and_along_track_values():
    assert convert(0.230, TEN, "body_axis", 0.10) == pytest.approx(0.20914097, abs=1e-8)
    assert convert(0.230, TEN, "along_track", 0.10) == pytest.approx(0.21564341, abs=1e-8)


@pytest.mark.parametrize("through", ["body_axis", "along_track"])
def test_there_and_back_gives_the_same_area(through):
    there = convert(0.25, TEN, through, 0.05)
    assert convert(there, TEN, "wind_axis", 0.05, given=through) == pytest.approx(0.25, abs=1e-15)


def test_all_conventions_agree_without_yaw():
    assert {float(convert(0.24, 0.0, c, 0.3)) for c in ("wind_axis", "body_axis", "along_track")} == {0.24}


@pytest.mark.parametrize(
    ("yaw_deg", "v", "a", "force"),
    [(14.638807, 13.989663, 13.535534, 28.403634), (26.565051, 11.180340, 10.0, 16.770510)],
)
def test_the_force_is_the_same_in_every_convention(yaw_deg, v, a, force):
    """v = 10 m/s, wind 5 m/s from 45 and 90 degrees, rho 1.2, wind-axis area 0.25 m2 (own arithmetic, geometry)."""
    yaw = np.radians(yaw_deg)
    assert 0.6 * 0.25 * v * a == pytest.approx(force, rel=1e-6)
    assert 0.6 * convert(0.25, yaw, "body_axis") * v**2 == pytest.approx(force, rel=1e-6)
    assert 0.6 * convert(0.25, yaw, "along_track") * a**2 == pytest.approx(force, rel=1e-6)


def test_what_is_stated_names_the_axis_and_the_neglect():
    assert "wind-axis" in STATED
    assert "side force neglected" in STATED

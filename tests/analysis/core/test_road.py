"""Gravity of the ellipsoid and the terms of road power against published cases."""

import math

import numpy as np
import pytest

from analysis.core import constants
from analysis.core.road import Resistance, bearing_power_w, effective_mass_kg, normal_gravity_mps2, road_power


def test_normal_gravity_matches_a_geodesy_library(reference_table):
    t = reference_table("wgs84_normal_gravity")
    heights = {"h0": 0.0, "h250": 250.0, "h1000": 1000.0, "h2000": 2000.0}
    for column, height in heights.items():
        # 5e-7: the series in height leaves out its third power
        assert normal_gravity_mps2(np.radians(t["latitude_deg"]), height) == pytest.approx(t[column], abs=5e-7)


def test_constants_of_the_ellipsoid_follow_from_its_definition():
    # NIMA TR8350.2 prints these derived values
    assert pytest.approx(0.00344978650684, rel=1e-11) == constants.WGS84_M
    assert pytest.approx(0.00193185265241, abs=1e-11) == constants.WGS84_K  # from gravities of eleven digits
    assert pytest.approx(0.00669437999014, rel=1e-11) == constants.WGS84_E2


# Martin et al. (1998), J. Appl. Biomech. 14:276-291, appendix I. The drag area holds that of the spokes (0.0044 m2);
# wind 2.94 m/s from 310 deg, riding to 340 deg; the density 1.2234 kg/m3 is from memory, checked against P_AT.
MARTIN = Resistance(
    cda_m2=0.2565 + 0.0044,
    crr=0.0032,
    mass_kg=90.0,
    density_kg_m3=1.2234,
    efficiency=0.976,
    gravity_mps2=9.81,
    grade=0.003,
    headwind_mps=2.94 * math.cos(math.radians(310 - 340)),
    bearings=True,
)


def test_power_terms_match_the_worked_example_of_martin_1998():
    inertia = 90.0 + 0.14 / 0.311**2
    gained = (8.45**2 - 8.28**2) / 2 / (100 - 43.58)
    power = road_power(8.36, MARTIN, acceleration_mps2=gained / 8.36, inertia_kg=inertia)
    # tolerances: one unit of the printed digit, and the rounding of the printed air speed in P_AT
    assert power.air_w == pytest.approx(158.8, abs=0.15)
    assert power.rolling_w == pytest.approx(23.6, abs=0.05)
    assert power.bearings_w == pytest.approx(1.4, abs=0.05)
    assert power.climbing_w == pytest.approx(22.1, abs=0.05)
    assert power.kinetic_w == pytest.approx(2.3, abs=0.05)
    assert power.total_w == pytest.approx(213.3, abs=0.2)


def test_the_worked_example_unrounded():
    # the terms evaluated in 30-digit arithmetic, printed to eight digits
    inertia = 90.0 + 0.14 / 0.311**2
    gained = (8.45**2 - 8.28**2) / 2 / (100 - 43.58)
    power = road_power(8.36, MARTIN, acceleration_mps2=gained / 8.36, inertia_kg=inertia)
    terms = (power.air_w, power.rolling_w, power.bearings_w, power.climbing_w, power.kinetic_w, power.total_w)
    assert terms == pytest.approx((158.69343, 23.619235, 1.3687995, 22.143032, 2.3049072, 213.24734), rel=3e-8)


def test_every_term_of_the_full_model(reference_table):
    for row in reference_table("martin_1998_cases"):
        state = Resistance(
            row["cda_m2"] + 0.0044, row["crr"], row["mass_kg"], row["density_kg_m3"], 0.977, grade=row["grade"],
            headwind_mps=row["headwind_mps"], bearings=True,
        )  # fmt: skip
        inertia = row["mass_kg"] + 0.14 / 0.311**2
        power = road_power(row["speed_mps"], state, row["acceleration_mps2"], inertia)
        for term in ("air_w", "rolling_w", "bearings_w", "climbing_w", "kinetic_w", "total_w"):
            assert getattr(power, term) == pytest.approx(row[term], abs=1e-6)


def test_a_tailwind_faster_than_the_rider_pushes():
    # wind-axis table, last row: 10 m/s with 12 m/s from behind gives -0.6 N at rho 1.2 and 0.25 m2
    assert road_power(10.0, Resistance(0.25, 0, 80, 1.2, headwind_mps=-12.0)).air_w == pytest.approx(-6.0, rel=1e-12)


def test_bearings_take_one_watt_and_a_half_at_the_speed_of_the_example():
    assert bearing_power_w(8.36) == pytest.approx(1.3687995, abs=5e-8)  # Martin et al. (1998), appendix I, unrounded


def test_spinning_wheels_weigh_as_in_martin_1998():
    # both wheels 0.14 kg m2 at r 0.311 m are 1.447 kg; at 80 kg a factor 1.0180933
    assert effective_mass_kg(80.0, 0.14, 2 * math.pi * 0.311) / 80 == pytest.approx(1.0180933, abs=5e-8)


def test_a_wheel_without_size_is_refused():
    with pytest.raises(ValueError, match="wheel_circumference_m must be above 0 and finite; got 0"):
        effective_mass_kg(80.0, 0.14, 0.0)

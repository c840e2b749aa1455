"""Air density and the standard atmosphere against published values and general libraries."""

import numpy as np
import pytest

from analysis.core import constants
from analysis.core.air import air_density_kg_m3, saturation_vapour_pressure_pa, standard_atmosphere

MMHG_PA = 133.322387415


@pytest.mark.parametrize(
    ("celsius", "mmhg", "percent", "published"),
    [
        (22.3, 748.1, 37, 1.17194),  # Jones (1978), NBS, appendix B, example 1
        (23.4, 612.3, 23, 0.95632),  # Jones (1978), NBS, appendix B, example 3
        (10.0, 730.0, 40, 1.19569),  # Gupta, Mass Metrology (Springer), p. 205
        (40.0, 760.0, 40, 1.11497),  # Gupta, Mass Metrology (Springer), p. 205
    ],
)
def test_density_matches_published_worked_values(celsius, mmhg, percent, published):
    # 1e-4: the books use earlier editions of the same equation (CIPM-81/91, +6.4e-5 to CIPM-2007 among them)
    density = air_density_kg_m3(celsius + 273.15, mmhg * MMHG_PA, percent / 100)
    assert density == pytest.approx(published, rel=1.0e-4)


@pytest.mark.parametrize(
    ("celsius", "pascal", "humidity", "density"),
    [
        (20, 101325, 0.5, 1.1993139),
        (0, 101325, 0.5, 1.2915779),
        (30, 90000, 0.8, 1.0197999),
        (15, 101325, 0.0, 1.2255213),
    ],
)
def test_density_is_the_equation_of_picard_2008(celsius, pascal, humidity, density):
    # Picard et al. (2008), Metrologia 45:149-155, evaluated in 30-digit arithmetic; printed to 1e-7
    assert air_density_kg_m3(celsius + 273.15, pascal, humidity) == pytest.approx(density, abs=6e-8)


def test_density_matches_a_general_library_over_the_weather_one_rides_in(reference_table):
    t = reference_table("air_density_coolprop")
    density = air_density_kg_m3(t["temperature_c"] + 273.15, t["pressure_kpa"] * 1e3, t["humidity_pct"] / 100)
    assert density == pytest.approx(t["cipm2007_kg_m3"], abs=1e-5)
    warm = t["temperature_c"] >= 0  # below, the library's humidity is over ice
    # 1.5e-4: the formulations differ by 37 ppm throughout, half of it the molar mass
    assert density[warm] == pytest.approx(t["coolprop_kg_m3"][warm], rel=1.5e-4)


def test_dry_air_has_the_compressibility_of_the_ciddor_procedure():
    # Ciddor (1996) uses the same polynomial; its printed Z at 15 C and 101325 Pa is 0.9995922115
    ideal = 101325 * constants.M_DRY_AIR / (constants.R_MOLAR * 288.15)
    assert ideal / air_density_kg_m3(288.15, 101325, 0.0) == pytest.approx(0.9995922115, abs=1e-9)


def test_more_carbon_dioxide_is_heavier():
    # own arithmetic from the equation: 420 instead of 400 ppm is +8.2e-6
    ratio = air_density_kg_m3(293.15, 101325, 0.5, co2=0.00042) / air_density_kg_m3(293.15, 101325, 0.5)
    assert ratio - 1 == pytest.approx(8.2e-6, abs=1e-7)


@pytest.mark.parametrize(
    ("celsius", "cipm", "iapws"),
    [
        (0.01, 611.657, 611.655),
        (5, 872.534, 872.575),
        (10, 1228.115, 1228.199),
        (20, 2339.163, 2339.318),
        (30, 4246.799, 4246.971),
        (40, 7384.824, 7384.938),
    ],
)
def test_saturation_pressure_matches_the_steam_equation(celsius, cipm, iapws):
    # IAPWS-95 by CoolProp 8.0.0; 1e-4 is the difference between the two formulations
    pressure = saturation_vapour_pressure_pa(celsius + 273.15)
    assert pressure == pytest.approx(cipm, abs=6e-4)
    assert pressure == pytest.approx(iapws, rel=1e-4)


def test_standard_atmosphere_is_iso_2533(reference_table):
    t = reference_table("iso2533_troposphere")
    temperature, pressure = standard_atmosphere(t["height_m"])
    assert temperature == pytest.approx(t["temperature_k"], abs=6e-4)  # print
    assert pressure == pytest.approx(t["pressure_pa"], rel=2e-6)
    density = pressure / (constants.ISO_GAS_CONSTANT * temperature)
    assert density == pytest.approx(t["density_kg_m3"], rel=2e-6)


def test_a_scalar_gives_a_scalar_and_arrays_broadcast():
    assert isinstance(air_density_kg_m3(288.15, 101325, 0.5), float)
    assert isinstance(standard_atmosphere(100.0)[1], float)
    assert air_density_kg_m3(np.full((3, 1), 288.15), np.full(4, 101325.0), 0.5).shape == (3, 4)


def test_a_gap_stays_a_gap():
    density = air_density_kg_m3(np.array([288.15, np.nan]), 101325, 0.5)
    assert np.isnan(density).tolist() == [False, True]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((288.15, 1013.2, 0.5), r"pressure_pa must be in \[50000, 110000\]; got 1013.2 \(hPa\?\)"),
        ((18.0, 101325, 0.5), r"temperature_k must be in \[223.15, 333.15\]; got 18 \(deg C\?\)"),
        ((288.15, 101325, 55), r"humidity must be in \[0, 1\]; got 55 \(percent\?\)"),
        ((288.15, 101325, 0.5, 420), r"co2 must be in \[0, 0.01\]; got 420 \(ppm\?\)"),
        ((288.15, np.inf, 0.5), r"pressure_pa must be in .*; got inf"),
    ],
)
def test_a_mistaken_unit_is_named(arguments, message):
    with pytest.raises(ValueError, match=message):
        air_density_kg_m3(*arguments)

"""The air a rider moves through: its density, and what to assume where nobody measured it. Wind lives elsewhere."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analysis.core.arguments import within
from analysis.core.constants import (
    CO2_REFERENCE,
    ISO_EARTH_RADIUS_M,
    ISO_EXPONENT,
    ISO_LAPSE_K_M,
    ISO_PRESSURE_PA,
    ISO_TEMPERATURE_K,
    M_CARBON,
    M_DRY_AIR,
    M_WATER,
    R_MOLAR,
    ZERO_CELSIUS_K,
)
from analysis.core.types import Array

# What the equation was made for (Picard et al. 2008); outside it extrapolates smoothly, within 5e-5 from -5 to 40 C.
EQUATION_TEMPERATURE_K = (ZERO_CELSIUS_K + 15.0, ZERO_CELSIUS_K + 27.0)
EQUATION_PRESSURE_PA = (60_000.0, 110_000.0)


def air_density_kg_m3(
    temperature_k: ArrayLike, pressure_pa: ArrayLike, humidity: ArrayLike, co2: float = CO2_REFERENCE
) -> Array:
    """Density of moist air, sample by sample; arguments broadcast, scalars in give a scalar, a gap (NaN) stays a gap.

    Parameters
    ----------
    temperature_k : array_like
        Air temperature, 223.15 to 333.15 [K].
    pressure_pa : array_like
        Station pressure, never reduced to sea level, 50000 to 110000 [Pa].
    humidity : array_like
        Relative humidity over water, 0 to 1 [1].
    co2 : float
        Mole fraction of carbon dioxide [1].

    Returns
    -------
    ndarray or float
        Density [kg/m3].

    Raises
    ------
    ValueError
        A value outside its range: a unit that was mistaken, more often than not.

    References
    ----------
    Picard, Davis, Glaeser and Fujii (2008), Revised formula for the density of moist air (CIPM-2007),
    Metrologia 45:149-155, doi 10.1088/0026-1394/45/2/004.
    """
    temperature = within("temperature_k", temperature_k, 223.15, 333.15, "deg C?")
    pressure = within("pressure_pa", pressure_pa, 50_000, 110_000, "hPa?")
    relative = within("humidity", humidity, 0, 1, "percent?")
    fraction = within("co2", co2, 0, 0.01, "ppm?")
    celsius = temperature - ZERO_CELSIUS_K
    enhancement = 1.00062 + 3.14e-8 * pressure + 5.6e-7 * celsius**2  # f
    vapour = relative * enhancement * saturation_vapour_pressure_pa(temperature) / pressure  # x_v
    dry = M_DRY_AIR + M_CARBON * (fraction - CO2_REFERENCE)  # M_a
    compressed = _compressibility(temperature, pressure, vapour)
    return np.multiply(pressure * dry / (compressed * R_MOLAR * temperature), 1 - vapour * (1 - M_WATER / dry))


def saturation_vapour_pressure_pa(temperature_k: ArrayLike) -> Array:
    """Saturation vapour pressure over water.

    Parameters
    ----------
    temperature_k : array_like
        Air temperature [K].

    Returns
    -------
    ndarray or float
        Vapour pressure [Pa].

    References
    ----------
    Picard et al. (2008), appendix A1, eq. A1.1.
    """
    kelvin = np.asarray(temperature_k, dtype=np.float64)
    return np.exp(1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin)


def _compressibility(kelvin: Array, pascal: Array, vapour: Array) -> Array:
    """Z of Picard et al. (2008), appendix A1."""
    celsius = kelvin - ZERO_CELSIUS_K
    ratio = pascal / kelvin
    dry = 1.58123e-6 - 2.9331e-8 * celsius + 1.1043e-10 * celsius**2
    mixed = (5.707e-6 - 2.051e-8 * celsius) * vapour + (1.9898e-4 - 2.376e-6 * celsius) * vapour**2
    return 1 - ratio * (dry + mixed) + ratio**2 * (1.83e-11 - 0.765e-8 * vapour**2)


def standard_atmosphere(height_m: ArrayLike) -> tuple[Array, Array]:
    """Temperature and pressure to assume where neither was measured; dry air goes with them.

    Parameters
    ----------
    height_m : array_like
        Geometric height above sea level, -500 to 11000 [m].

    Returns
    -------
    tuple of ndarray or float
        Temperature [K] and pressure [Pa].

    References
    ----------
    ISO 2533:1975, Standard Atmosphere, troposphere.
    """
    height = within("height_m", height_m, -500, 11_000, "feet?")
    geopotential = ISO_EARTH_RADIUS_M * height / (ISO_EARTH_RADIUS_M + height)
    temperature = np.subtract(ISO_TEMPERATURE_K, ISO_LAPSE_K_M * geopotential)
    return temperature, np.multiply(ISO_PRESSURE_PA, (temperature / ISO_TEMPERATURE_K) ** ISO_EXPONENT)

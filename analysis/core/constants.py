"""Physical constants, each with its source on the line; what follows from others is computed. No formulas here."""

from __future__ import annotations

ZERO_CELSIUS_K = 273.15  # [K] definition of the Celsius scale, BIPM SI Brochure
STANDARD_GRAVITY = 9.80665  # [m/s2] 3rd CGPM (1901)
SECONDS_PER_HOUR = 3600.0  # [s]
MPS_PER_KMH = 1000.0 / SECONDS_PER_HOUR  # [m/s per km/h]

# Moist air: Picard et al. (2008), Metrologia 45:149-155 (CIPM-2007)
R_MOLAR = 8.314472  # [J/(mol K)] CODATA 2006, as CIPM-2007 uses it
M_DRY_AIR = 28.96546e-3  # [kg/mol] CIPM-2007, at a CO2 mole fraction of 0.0004
M_WATER = 18.01528e-3  # [kg/mol] CIPM-2007
CO2_REFERENCE = 0.0004  # [1] CIPM-2007
M_CARBON = 12.011e-3  # [kg/mol] CIPM-2007: CO2 replaces O2, so its change weighs as carbon

# Standard atmosphere: ISO 2533:1975, troposphere
ISO_PRESSURE_PA = 101325.0  # [Pa] at sea level
ISO_TEMPERATURE_K = 288.15  # [K] at sea level
ISO_LAPSE_K_M = 0.0065  # [K/m]
ISO_GAS_CONSTANT = 287.05287  # [J/(kg K)]
ISO_EARTH_RADIUS_M = 6356766.0  # [m] nominal, for geopotential heights
ISO_EXPONENT = STANDARD_GRAVITY / (ISO_GAS_CONSTANT * ISO_LAPSE_K_M)  # [1] 5.255880

# Figure of the Earth and its gravity: World Geodetic System 1984, NIMA TR8350.2
WGS84_A_M = 6378137.0  # [m] semi-major axis
WGS84_F = 1 / 298.257223563  # [1] flattening
WGS84_GM = 3.986004418e14  # [m3/s2]
WGS84_OMEGA = 7.292115e-5  # [rad/s]
WGS84_GRAVITY_EQUATOR = 9.7803253359  # [m/s2]
WGS84_GRAVITY_POLE = 9.8321849378  # [m/s2]
WGS84_B_M = WGS84_A_M * (1 - WGS84_F)  # [m] semi-minor axis
WGS84_E2 = WGS84_F * (2 - WGS84_F)  # [1] first eccentricity squared
WGS84_M = WGS84_OMEGA**2 * WGS84_A_M**2 * WGS84_B_M / WGS84_GM  # [1] centrifugal over gravitational acceleration
WGS84_K = WGS84_B_M * WGS84_GRAVITY_POLE / (WGS84_A_M * WGS84_GRAVITY_EQUATOR) - 1  # [1] Somigliana's constant

# Bearings of both wheels: Martin et al. (1998), J. Appl. Biomech. 14:276-291
BEARING_N = 91e-3  # [N]
BEARING_N_S_M = 8.7e-3  # [N s/m]

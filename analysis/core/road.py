"""What resists a rider on a road, term by term, and the gravity it is ridden in. Estimating does not belong here."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.core.arguments import positive
from analysis.core.constants import (
    BEARING_N,
    BEARING_N_S_M,
    STANDARD_GRAVITY,
    WGS84_A_M,
    WGS84_E2,
    WGS84_F,
    WGS84_GRAVITY_EQUATOR,
    WGS84_K,
    WGS84_M,
)
from analysis.core.types import Array


def normal_gravity_mps2(latitude_rad: float | Array, height_m: float | Array = 0.0) -> Array:
    """Gravity of the reference ellipsoid; scalars in give a scalar.

    Parameters
    ----------
    latitude_rad : array_like
        Geodetic latitude [rad].
    height_m : array_like
        Height above the ellipsoid [m].

    Returns
    -------
    ndarray or float
        Normal gravity [m/s2].

    References
    ----------
    Somigliana's closed form with the height series of NIMA TR8350.2 (WGS 84), eqs. 4-1 and 4-3.
    """
    sine2 = np.sin(np.asarray(latitude_rad, dtype=np.float64)) ** 2
    height = np.asarray(height_m, dtype=np.float64) / WGS84_A_M
    level = WGS84_GRAVITY_EQUATOR * (1 + WGS84_K * sine2) / np.sqrt(1 - WGS84_E2 * sine2)  # eq. 4-1
    return np.multiply(level, 1 - 2 * (1 + WGS84_F + WGS84_M - 2 * WGS84_F * sine2) * height + 3 * height**2)


def bearing_power_w(speed_mps: float | Array) -> Array:
    """Power lost in the bearings of both wheels; scalars in give a scalar.

    Parameters
    ----------
    speed_mps : array_like
        Speed over the ground [m/s].

    Returns
    -------
    ndarray or float
        Power [W].

    References
    ----------
    Martin et al. (1998), J. Appl. Biomech. 14(3):276-291: P_WB = v (91 + 8.7 v) 1e-3.
    """
    speed = np.asarray(speed_mps, dtype=np.float64)
    return np.multiply(speed, BEARING_N + BEARING_N_S_M * speed)


def effective_mass_kg(mass_kg: float, wheel_inertia_kg_m2: float, wheel_circumference_m: float) -> float:
    """Mass that resists a change of speed: bodies, and the wheels' spin.

    Parameters
    ----------
    mass_kg : float
        System mass: rider, bicycle and kit as ridden [kg].
    wheel_inertia_kg_m2 : float
        Moment of inertia of both wheels together [kg m2].
    wheel_circumference_m : float
        Distance over one turn of the wheel [m].

    Returns
    -------
    float
        m + I / r^2 [kg].

    References
    ----------
    Martin et al. (1998), J. Appl. Biomech. 14(3):276-291, the term P_KE.
    """
    radius = float(positive("wheel_circumference_m", wheel_circumference_m)) / (2 * math.pi)
    return float(positive("mass_kg", mass_kg)) + wheel_inertia_kg_m2 / radius**2


@dataclass(frozen=True, slots=True, eq=False)
class Resistance:
    """All that a rider's power works against at a speed; every field may be an array, and they broadcast.

    `cda_m2` meets the air along the road, a |a| (yaw 0); for a drag area at a yaw angle convert it first.
    """

    cda_m2: float | Array
    crr: float | Array
    mass_kg: float | Array
    density_kg_m3: float | Array
    efficiency: float | Array = 1.0
    gravity_mps2: float | Array = STANDARD_GRAVITY
    grade: float | Array = 0.0  # rise over run
    headwind_mps: float | Array = 0.0
    bearings: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class RoadPower:
    """Power by term [W]; `total_w` is at the pedals, the others at the wheel."""

    air_w: Array
    rolling_w: Array
    bearings_w: Array
    climbing_w: Array
    kinetic_w: Array
    total_w: Array


def road_power(
    speed_mps: float | Array,
    resistance: Resistance,
    acceleration_mps2: float | Array = 0.0,
    inertia_kg: float | Array | None = None,
) -> RoadPower:
    """Power that a speed takes.

    Parameters
    ----------
    speed_mps : array_like
        Speed over the ground [m/s].
    resistance : Resistance
    acceleration_mps2 : array_like
        Rate of change of the speed [m/s2].
    inertia_kg : array_like, optional
        Effective mass; the plain mass where absent [kg].

    Returns
    -------
    RoadPower
        Power by term [W].

    References
    ----------
    Martin, Milliken, Cobb, McFadden and Coggan (1998), J. Appl. Biomech. 14(3):276-291.
    """
    speed, cda, crr, mass, density, grade = (
        np.asarray(value, dtype=np.float64)
        for value in (
            speed_mps,
            resistance.cda_m2,
            resistance.crr,
            resistance.mass_kg,
            resistance.density_kg_m3,
            resistance.grade,
        )
    )
    weight = mass * np.asarray(resistance.gravity_mps2) / np.sqrt(1 + grade**2)  # m g cos(atan G)
    along = speed + np.asarray(resistance.headwind_mps)
    air = 0.5 * density * cda * along * np.abs(along) * speed  # P_AT
    rolling = speed * crr * weight  # P_RR
    bearings = bearing_power_w(speed) * float(resistance.bearings)  # P_WB
    climbing = speed * weight * grade  # P_PE, sin(atan G) = G cos(atan G)
    inertia = mass if inertia_kg is None else np.asarray(inertia_kg)
    kinetic = inertia * speed * np.asarray(acceleration_mps2)  # P_KE
    total = (air + rolling + bearings + climbing + kinetic) / np.asarray(resistance.efficiency)
    return RoadPower(air, rolling, bearings, climbing, kinetic, total)

"""What a difference of drag area is worth: watts at a speed, seconds over a distance. Nothing is estimated here."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.core.arguments import positive, within
from analysis.core.road import Resistance, road_power
from analysis.core.types import Array

_STEPS = 200  # halvings and Newton steps together: far more than any bracket of finite numbers needs


def watts_at_speed(
    delta_cda_m2: float | Array, speed_mps: float | Array, density_kg_m3: float | Array, efficiency: float | Array = 1.0
) -> Array:
    """Power that a difference of drag area costs at one speed, in still air; scalars in give a scalar.

    Parameters
    ----------
    delta_cda_m2 : array_like
        Changed minus reference [m2].
    speed_mps : array_like
        Speed over the ground [m/s].
    density_kg_m3 : array_like
        Air density [kg/m3].
    efficiency : array_like
        Of the drivetrain, 0.5 to 1 [1].

    Returns
    -------
    ndarray or float
        Changed minus reference at the pedals [W].

    References
    ----------
    The air term of Martin et al. (1998): dP = 1/2 rho dCdA v^3 / eta.
    """
    eta = within("efficiency", efficiency, 0.5, 1, "percent?")
    speed = positive("speed_mps", speed_mps)
    density = positive("density_kg_m3", density_kg_m3)
    return np.divide(0.5 * density * np.asarray(delta_cda_m2, dtype=np.float64) * speed**3, eta)


def steady_speed_mps(power_w: float | Array, resistance: Resistance) -> Array:
    """Speed that a power holds, also with a tailwind faster than the rider or downhill; scalars in give a scalar.

    Force per speed rises and power over speed falls, so there is one root: Newton steps, halved back into the
    bracket whenever they leave it.

    Parameters
    ----------
    power_w : array_like
        Power at the pedals, above 0 [W].
    resistance : Resistance

    Returns
    -------
    ndarray or float
        Speed over the ground [m/s].

    Raises
    ------
    ValueError
        No speed balances this power: nothing resists.

    References
    ----------
    Martin et al. (1998), J. Appl. Biomech. 14(3):276-291, solved for the speed.
    """
    power = positive("power_w", power_w)
    low = np.zeros(np.broadcast(power, *_fields(resistance)).shape)
    high = low + 1.0
    for _ in range(12):
        short = road_power(high, resistance).total_w < power
        if not np.any(short):
            break
        high = np.where(short, 2 * high, high)
    if np.any(road_power(high, resistance).total_w < power):
        raise ValueError(f"no speed up to {float(np.max(high)):g} m/s takes {float(np.max(power)):g} W: check the drag")
    speed = high
    for _ in range(_STEPS):
        excess = road_power(speed, resistance).total_w - power
        low, high = np.where(excess < 0, speed, low), np.where(excess < 0, high, speed)
        newton = speed - excess / _power_slope(speed, resistance)
        following = np.where((newton >= low) & (newton <= high), newton, (low + high) / 2)  # at the root it stays
        if np.all(np.abs(following - speed) <= 1e-14 * speed):
            break
        speed = following
    return speed[()]


def ride_seconds(distance_m: float | Array, power_w: float | Array, resistance: Resistance) -> Array:
    """Time over a distance at a steady power; scalars in give a scalar.

    Parameters
    ----------
    distance_m : array_like
        Distance [m].
    power_w : array_like
        Power at the pedals, above 0 [W].
    resistance : Resistance

    Returns
    -------
    ndarray or float
        Time [s].
    """
    return np.divide(positive("distance_m", distance_m), steady_speed_mps(power_w, resistance))


def seconds_for_drag_area(
    delta_cda_m2: float | Array, distance_m: float | Array, power_w: float | Array, resistance: Resistance
) -> Array:
    """Time that a difference of drag area costs over a distance; it rises with the difference, so ends map to ends.

    Parameters
    ----------
    delta_cda_m2 : array_like
        Changed minus reference; an interval may be given by its two ends; where it takes more than there is, no drag
        is left [m2].
    distance_m : array_like
        Distance [m].
    power_w : array_like
        Power at the pedals, above 0 [W].
    resistance : Resistance
        With the drag area of the reference.

    Returns
    -------
    ndarray or float
        Changed minus reference [s].
    """
    changed = np.maximum(np.add(resistance.cda_m2, delta_cda_m2), 0.0)
    changed, before, *_ = np.broadcast_arrays(changed, resistance.cda_m2, distance_m, power_w, *_fields(resistance))
    both = replace(resistance, cda_m2=np.stack([changed, before]))
    seconds = ride_seconds(distance_m, power_w, both)
    return np.asarray(seconds[0] - seconds[1])[()]


def speed_per_drag_area(power_w: float | Array, resistance: Resistance) -> Array:
    """Change of the steady speed with the drag area, at the reference: for small differences only.

    Parameters
    ----------
    power_w : array_like
        Power at the pedals, above 0 [W].
    resistance : Resistance

    Returns
    -------
    ndarray or float
        Derivative of the speed by the drag area [m/s per m2].
    """
    speed = steady_speed_mps(power_w, resistance)
    unit = road_power(speed, replace(resistance, cda_m2=1.0)).air_w / positive("efficiency", resistance.efficiency)
    return np.divide(-unit, _power_slope(speed, resistance))


def _power_slope(speed_mps: float | Array, resistance: Resistance) -> Array:
    """Derivative of the power by the speed [W per m/s]; central, exact enough because the bracket guards the root."""
    speed = np.asarray(speed_mps, dtype=np.float64)
    step = 1e-6 * speed
    above, below = road_power(speed + step, resistance).total_w, road_power(speed - step, resistance).total_w
    return np.divide(above - below, 2 * step)


def _fields(resistance: Resistance) -> list[float | Array]:
    return [getattr(resistance, f) for f in resistance.__dataclass_fields__]

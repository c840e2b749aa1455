"""One run's channels made ready for summing: steps, speed, air density, and which steps are sound.

Here belongs what one run can tell by itself (gaps, dropouts, speed from what was recorded). What needs
the other runs (marks, twins, gain) belongs to `course`, `balance` and `airsensor`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.core.air import air_density_kg_m3
from analysis.core.constants import WGS84_A_M, WGS84_E2
from analysis.core.glitches import (
    LEAP_AIR_MPS,
    LEAP_MPS,
    at_its_top,
    blocked_air,
    leapt_power,
    tame,
    without_blinks,
)
from analysis.core.types import Array, Channels, Mask, Run, Session, WeatherReading

CLOCK_SD_S = 0.4  # prior, between the power, speed, air and satellite streams (DESIGN section 7)
LEAST_POWER_W = 20.0  # a rider who pushes less does not ride a test
SOFT_SHARE = 0.25  # of the run's usual power: less is soft pedalling or braking
SHORT_GAP_S = 3.5  # up to here a gap is bridged from both sides; longer ones are left out of the sums
# what a working thermometer, barometer or hygrometer can read outdoors; anything else is a gap
POSSIBLE = {"temperature_k": (223.15, 333.15), "pressure_pa": (50_000.0, 110_000.0), "humidity": (0.0, 1.0)}
YAW_LIMIT_RAD = np.radians(60.0)  # beyond it the along-travel air speed says little (DESIGN section 7)
STANDARD_TEMPERATURE_K, STANDARD_PRESSURE_PA = 288.15, 101325.0  # ISO 2533, sea level


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """A run as arrays of shape (n,); step i runs from sample i-1 to sample i."""

    number: int
    setup: str
    mass_kg: float
    time_s: Array  # [s]
    step_s: Array  # [s], zero for the first sample
    distance_m: Array  # [m] along the wheel's path, from 0
    speed_mps: Array  # [m/s]
    power_w: Array  # [W] mean over the step that ends here
    air_mps: Array | None  # [m/s] as sensed, mean over the step that ends here
    yaw_rad: Array  # [rad], zero where none was recorded
    density_kg_m3: Array  # [kg/m3]
    altitude_m: Array | None  # [m]
    east_m: Array | None  # [m] in the session's local plane
    north_m: Array | None  # [m]
    tilt_rad: Array | None  # [rad]
    temperature_k: float  # mean [K]
    pressure_pa: float  # mean [Pa]
    sound: Mask  # the step that ends here may enter the sums
    gap_s: float  # [s] without samples
    dropout_s: float  # [s] in which the power meter sent nothing, or leapt
    blocked_s: float  # [s] with the air sensor stuck, silent or at the end of its range
    has_yaw: bool
    has_weather: bool

    def scaled(self, factor: float) -> Samples:
        """Speed and distance by a wheel whose circumference is `factor` times the stated one."""
        return replace(self, speed_mps=self.speed_mps * factor, distance_m=self.distance_m * factor)

    def earlier(self, *, air_s: float, power_s: float) -> Samples:
        """The same run with late streams moved back by so many seconds."""

        def moved(values: Array, late_s: float) -> Array:
            known = np.isfinite(values)
            if late_s == 0.0 or not known.any():
                return values
            out = np.interp(self.time_s + late_s, self.time_s[known], values[known])
            return np.where(np.interp(self.time_s + late_s, self.time_s, known) > 0.5, out, np.nan)

        air = None if self.air_mps is None else moved(self.air_mps, air_s)
        return replace(self, air_mps=air, yaw_rad=moved(self.yaw_rad, air_s), power_w=moved(self.power_w, power_s))


def plane_m(latitude_rad: Array, longitude_rad: Array, origin_rad: tuple[float, float]) -> tuple[Array, Array]:
    """East and north of an origin in the plane that touches the WGS-84 ellipsoid there.

    Lengths are short by d^3 / (6 R^2): 0.1 mm at 3 km, 1 mm at 6 km.

    Parameters
    ----------
    latitude_rad : ndarray
        Array of shape (n,) [rad].
    longitude_rad : ndarray
        Array of shape (n,) [rad].
    origin_rad : tuple[float, float]
        Latitude and longitude of the origin [rad].

    Returns
    -------
    tuple of array
        East and north, shape (n,) [m].

    References
    ----------
    NIMA TR8350.2, World Geodetic System 1984: geodetic to rectangular coordinates, height 0.
    """
    sine, cosine = np.sin(origin_rad[0]), np.cos(origin_rad[0])
    out, east, up = _rectangular_m(latitude_rad, longitude_rad - origin_rad[1])  # periodic: no seam at 180 degrees
    out_0, _, up_0 = _rectangular_m(origin_rad[0], 0.0)
    return east, cosine * (up - up_0) - sine * (out - out_0)


def _rectangular_m(latitude_rad: Array | float, longitude_rad: Array | float) -> tuple[Array, Array, Array]:
    """From the Earth's middle: towards longitude 0, towards 90 degrees east, towards the pole."""
    prime = WGS84_A_M / np.sqrt(1.0 - WGS84_E2 * np.sin(latitude_rad) ** 2)
    out = np.asarray(prime * np.cos(latitude_rad))
    return out * np.cos(longitude_rad), out * np.sin(longitude_rad), prime * (1.0 - WGS84_E2) * np.sin(latitude_rad)


def system_mass_kg(session: Session, run: Run) -> float | None:
    """The moving mass of one run: the run's own, else its setup's, the session's, rider and bike.

    Parameters
    ----------
    session : Session
        What was given [1].
    run : Run
        One of its runs [1].

    Returns
    -------
    float or None
        Mass as ridden, None where it cannot be known [kg].
    """
    setup = next((s for s in session.setups if s.label == run.setup), None)
    for mass in (run.system_mass_kg, setup.system_mass_kg if setup else None, session.system_mass_kg):
        if mass is not None:
            return mass
    if session.rider_mass_kg is None or session.bike.mass_kg is None:
        return None
    return session.rider_mass_kg + session.bike.mass_kg


def median_known(values: Array) -> float:
    """Median of the values that are not NaN; for short series, several times as fast as numpy's.

    Parameters
    ----------
    values : ndarray
        Values with gaps as NaN [any unit].

    Returns
    -------
    float
        NaN where none is known [unit of the values].
    """
    known = values[~np.isnan(values)]
    if known.size == 0:
        return float("nan")
    half = known.size // 2
    if known.size % 2:
        return float(np.partition(known, half)[half])
    ordered = np.partition(known, (half - 1, half))
    return float(0.5 * (ordered[half - 1] + ordered[half]))


def bridged(time_s: Array, values: Array, longest_s: float = SHORT_GAP_S) -> Array:
    """Values with gaps up to `longest_s` filled linearly from both sides; longer gaps stay NaN.

    Parameters
    ----------
    time_s : ndarray
        Time, shape (n,) [s].
    values : ndarray
        Values with gaps as NaN, shape (n,) [any unit].
    longest_s : float
        Longest gap that is bridged [s].

    Returns
    -------
    array of shape (n,)
        In the unit of `values` [1].
    """
    known = np.isfinite(values)
    if known.all() or known.sum() < 2:
        return values
    at = np.flatnonzero(known)
    after = np.searchsorted(at, np.arange(values.size))
    inside = (after > 0) & (after < at.size) & ~known
    left, right = at[np.clip(after - 1, 0, None)], at[np.clip(after, None, at.size - 1)]
    short = inside & (time_s[right] - time_s[left] <= longest_s + 1e-9)
    filled = values.copy()
    filled[short] = np.interp(time_s[short], time_s[at], values[at])
    return filled


def prepare(session: Session, run: Run, origin_rad: tuple[float, float] | None) -> Samples | None:
    """Channels of one run as samples, or None where speed or power is missing altogether.

    Parameters
    ----------
    session : Session
        What was given [1].
    run : Run
        One of its runs [1].
    origin_rad : tuple[float, float] | None
        Latitude and longitude of the origin [rad].

    Returns
    -------
    Samples or None
        None where the run cannot be used [1].
    """
    c = run.channels
    if c is None or c.power_w is None or c.time_s.size < 30 or np.isfinite(c.power_w).mean() < 0.3:
        return None
    if median_known(c.power_w) < LEAST_POWER_W:
        return None
    east = north = None
    if origin_rad is not None and c.latitude_rad is not None and c.longitude_rad is not None:
        east, north = plane_m(c.latitude_rad, c.longitude_rad, origin_rad)
        if np.isfinite(east + north).mean() < 0.5:
            east = north = None
    moved = _motion(c, east, north)
    if moved is None:
        return None
    speed, distance = moved
    step = np.diff(c.time_s, prepend=c.time_s[0])
    usual = median_known(step[1:])
    gap = step > max(SHORT_GAP_S, 2.5 * usual)
    longest = max(SHORT_GAP_S, 2.2 * usual)
    mass_kg = float(system_mass_kg(session, run) or np.nan)
    usual_w = median_known(c.power_w)
    leapt = leapt_power(c.power_w, speed, step, mass_kg, usual_w)
    power = bridged(c.time_s, np.where(leapt, np.nan, without_blinks(c.power_w, usual_w)), longest)
    long = np.flatnonzero((step > 1.5 * usual) & (np.arange(step.size) > 0))
    power[long] = 0.5 * (power[long - 1] + power[long])  # the sample tells the last second only of a longer step
    air = None if c.airspeed_mps is None else bridged(c.time_s, tame(c.airspeed_mps, LEAP_AIR_MPS), longest)
    blocked = np.zeros(speed.size, dtype=bool)
    if air is not None:
        blocked = blocked_air(c.time_s, air, np.nan_to_num(speed)) | at_its_top(air)
        air = np.where(blocked, np.nan, air)
        air = None if np.isfinite(air).mean() < 0.3 else air
    yaw = np.zeros(speed.size) if c.yaw_rad is None else bridged(c.time_s, c.yaw_rad, longest)
    sound = ~gap & np.isfinite(power) & np.isfinite(speed) & (np.abs(np.nan_to_num(yaw)) < YAW_LIMIT_RAD)
    if air is not None:
        sound &= np.isfinite(air)
    sound[0] = False
    temperature, pressure, humidity, known = _weather(session, c)
    return Samples(
        number=run.number, setup=run.setup, mass_kg=mass_kg,
        time_s=c.time_s, step_s=step, distance_m=distance, speed_mps=speed, power_w=power, air_mps=air,
        yaw_rad=np.nan_to_num(yaw), 
        density_kg_m3=np.broadcast_to(air_density_kg_m3(temperature, pressure, humidity), speed.shape),
        altitude_m=c.altitude_m, east_m=east, north_m=north, tilt_rad=c.tilt_rad,
        temperature_k=float(np.mean(temperature)), pressure_pa=float(np.mean(pressure)), sound=sound,
        gap_s=float(step[gap].sum()), dropout_s=float(step[leapt | ~np.isfinite(c.power_w)].sum()),
        blocked_s=float(step[blocked].sum()),
        has_yaw=c.yaw_rad is not None and bool(np.isfinite(c.yaw_rad).any()), has_weather=known,
    )  # fmt: skip


def _motion(c: Channels, east: Array | None, north: Array | None) -> tuple[Array, Array] | None:
    """Wheel speed and distance; each from the other where one is missing, from positions at last."""
    usual_s = median_known(np.diff(c.time_s))
    wheel = None if c.speed_mps is None else tame(c.speed_mps, LEAP_MPS * max(1.0, usual_s))
    speed = None if wheel is None else bridged(c.time_s, wheel, 6.0)
    distance = None if c.distance_m is None else bridged(c.time_s, c.distance_m, 30.0)
    if speed is None or np.isfinite(speed).mean() < 0.5:
        path = distance
        if path is None and east is not None and north is not None:
            steps = np.hypot(np.diff(_smooth(east, 5), prepend=np.nan), np.diff(_smooth(north, 5), prepend=np.nan))
            path = np.cumsum(np.nan_to_num(steps))
        if path is None or np.isfinite(path).mean() < 0.5:
            return None
        speed = np.gradient(_smooth(path, 3), c.time_s)
    if distance is None or np.isfinite(distance).mean() < 0.5:
        filled = np.interp(c.time_s, c.time_s[np.isfinite(speed)], speed[np.isfinite(speed)])
        steps = 0.5 * (filled[1:] + filled[:-1]) * np.diff(c.time_s)
        distance = np.concatenate([[0.0], np.cumsum(steps)])
    known = np.isfinite(distance)
    distance = np.maximum.accumulate(np.interp(c.time_s, c.time_s[known], distance[known]))
    return speed, distance - distance[0]


def _smooth(values: Array, width: int) -> Array:
    padded = np.pad(values, width // 2, mode="edge")
    return np.convolve(padded, np.full(width, 1.0 / width), mode="valid")[: values.size]


def _weather(session: Session, c: Channels) -> tuple[Array | float, Array | float, Array | float, bool]:
    """Temperature, pressure and humidity for each sample: recorded, noted, or standard."""
    temperature, known_t = _air_quantity(c, c.temperature_k, session.weather, "temperature_k", STANDARD_TEMPERATURE_K)
    pressure, known_p = _air_quantity(c, c.pressure_pa, session.weather, "pressure_pa", STANDARD_PRESSURE_PA)
    humidity, _ = _air_quantity(c, c.humidity, session.weather, "humidity", 0.5)
    return temperature, pressure, humidity, known_t and known_p


def _air_quantity(
    c: Channels, recorded: Array | None, weather: tuple[WeatherReading, ...], name: str, standard: float
) -> tuple[Array | float, bool]:
    least, most = POSSIBLE[name]
    if recorded is not None:
        known = np.isfinite(recorded) & (recorded >= least) & (recorded <= most)
        if known.any():
            return np.interp(c.time_s, c.time_s[known], recorded[known]), True
    values = [(w.time_s, float(getattr(w, name))) for w in weather if getattr(w, name) is not None]
    noted = sorted((t, v) for t, v in values if least <= v <= most)
    if noted:
        at, values_at = np.array(noted).T
        return np.interp(c.time_s, at, values_at), True
    return standard, False

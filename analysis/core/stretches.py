"""The energy sums of every pass between the session's marks.

Here belongs adding up; weighing the sums against each other belongs to `balance`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Self

import numpy as np

from analysis.core.alignment import Pass
from analysis.core.constants import STANDARD_GRAVITY
from analysis.core.course import MARK_WINDOW_M, Layout
from analysis.core.road import bearing_power_w
from analysis.core.samples import Mask, Samples
from analysis.core.types import Array

SOFT_SHARE = 0.25  # of the run's usual power: less is soft pedalling or braking
SOFT_TIME_SHARE = 0.15  # of a stretch that may be soft before it is left out


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """One row for each passage of a stretch; arrays of shape (n,)."""

    run: Array  # index
    ride: Array  # index of the pass
    place: Array  # index of the stretch on the course
    direction: Array  # +1 or -1
    begin_s: Array  # [s]
    duration_s: Array  # [s]
    length_m: Array  # [m] by the wheel
    energy_j: Array  # [J] eta sum(P dt) - kinetic energy gained - bearings
    work_j: Array  # [J] eta sum(P dt)
    area_j_m2: Array  # [J/m2] X of DESIGN section 7 with the air speed as sensed, without sensor noise
    yaw_area_j_m2: Array  # [J/m2] the same sum with sin^2(yaw) in it
    abs_yaw_area: Array  # [J rad/m2] the same sum with |yaw| in it
    rolling_j: Array  # [J] m g length
    weight_n: Array  # [N] m g
    power_square: Array  # [J2] sum((eta P dt)^2)
    air_square: Array  # sum((rho a v dt)^2): variance of X for one m2/s2 of air-speed noise
    speed_gain: Array  # [J s/m] m_e v at the first mark
    speed_gain_end: Array  # [J s/m] m_e v at the last mark
    push_n: Array  # [N] force of the energy balance at the first mark, height and drag still in it
    push_end_n: Array  # [N] at the last mark
    area_rate: Array  # [N/m2] X for each metre at the first mark
    area_rate_end: Array  # [N/m2] at the last mark
    power_step_w: Array  # [W] power at the wheel, last mark less first: what a late power meter moves each second
    area_step_w_m2: Array  # [W/m2] growth of X each second, last mark less first: the same for late air
    height_m: Array  # [m] altimeter: last mark less first, NaN without one
    missing_s: Array  # [s] of unsound steps inside
    soft_s: Array  # [s] without real pedalling inside

    def where(self, mask: Mask) -> Self:
        return type(self)(**{f.name: getattr(self, f.name)[mask] for f in fields(self)})

    def samples(self, row: int, time_s: Array, beyond_s: float = 0.0) -> slice:
        """Which samples of its run's times [s] a row holds, with those that lie so many seconds beside it."""
        ends = self.begin_s[row] + np.array([-beyond_s, self.duration_s[row] + beyond_s])
        first, last = np.searchsorted(time_s, ends)
        return slice(int(first), int(last))

    @property
    def sound(self) -> Mask:
        """Rows whose sums are whole and ridden under power."""
        soft = self.soft_s > np.maximum(SOFT_TIME_SHARE * self.duration_s, 1.0)
        moved = self.length_m > MARK_WINDOW_M  # a speed sensor that stays at zero moves no one
        return (self.missing_s < 1e-6) & ~soft & moved & np.isfinite(self.energy_j) & np.isfinite(self.area_j_m2)


def add_up(runs: list[Samples], layout: Layout, efficiency: float, spin_mass_kg: float) -> Stretches:
    """Energy sums of all passes between the marks.

    Parameters
    ----------
    runs : list[Samples]
        Prepared samples [1].
    layout : Layout
        Passes and marks [m].
    efficiency : float
        Share of the power that reaches the wheel [1].
    spin_mass_kg : float
        Wheel inertia over the squared wheel radius [kg].

    Returns
    -------
    Stretches
        One row for each passage [1].

    References
    ----------
    Martin et al. (1998), J. Appl. Biomech. 14:276-291: the terms of the balance.
    """
    rows = [_one(runs[p.run], i, p, layout, efficiency, spin_mass_kg) for i, p in enumerate(layout.passes)]
    names = [f.name for f in fields(Stretches)]
    return Stretches(**{n: np.concatenate([r[n] for r in rows]) if rows else np.zeros(0) for n in names})


def _marks_of(layout: Layout, p: Pass) -> tuple[Array, Array]:
    """Marks in the order in which a pass meets them (travelled coordinate) and the stretch after each."""
    marks = layout.marks_m
    low, high = float(p.along_m.min()) + MARK_WINDOW_M, float(p.along_m.max()) - MARK_WINDOW_M
    if layout.closed:
        period, count = float(marks[-1] - marks[0]), marks.size - 1
        step = period / count
        index = np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1)
        places, numbers = index * step, np.mod(index, count)
        if p.direction < 0:
            return -places[::-1], np.mod(numbers[::-1] - 1, count)
        return places, numbers
    inside = (marks >= low - 1e-9) & (marks <= high + 1e-9)
    places, numbers = marks[inside], np.flatnonzero(inside).astype(float)
    if p.direction < 0:
        return -places[::-1], numbers[::-1] - 1
    return places, numbers


def _cumulative(r: Samples, p: Pass, efficiency: float) -> dict[str, Array]:
    """Running sums along a pass, step by step."""
    part = slice(p.first, p.last + 1)
    dt = r.step_s[part].copy()
    dt[0] = 0.0
    v = np.nan_to_num(r.speed_mps[part])
    mean_v = 0.5 * (v + np.concatenate([v[:1], v[:-1]]))
    work = efficiency * np.nan_to_num(r.power_w[part]) * dt
    air = v if r.air_mps is None else np.nan_to_num(r.air_mps[part])
    yaw = np.clip(r.yaw_rad[part], -1.2, 1.2)
    area = 0.5 * r.density_kg_m3[part] * np.abs(air / np.cos(yaw)) * air * mean_v * dt
    usual = float(np.nanmedian(r.power_w))
    soft = np.nan_to_num(r.power_w[part], nan=np.inf) < SOFT_SHARE * usual
    steps = {
        "work": work, "bearing": bearing_power_w(mean_v) * dt, "length": mean_v * dt, "area": area,
        "yaw_area": area * np.sin(yaw) ** 2, "abs_yaw": area * np.abs(yaw), "power2": work**2,
        "air2": (r.density_kg_m3[part] * air * mean_v * dt / np.cos(yaw)) ** 2,
        "noise": 0.5 * r.density_kg_m3[part] * mean_v * dt, 
        "missing": np.where(r.sound[part], 0.0, dt), "soft": np.where(soft, dt, 0.0),
    }  # fmt: skip
    return {name: np.cumsum(values) for name, values in steps.items()}


def _one(r: Samples, ride: int, p: Pass, layout: Layout, efficiency: float, spin: float) -> dict[str, Array]:
    places, numbers = _marks_of(layout, p)
    part = slice(p.first, p.last + 1)
    travelled, moves = np.unique(p.direction * p.along_m, return_index=True)
    time = r.time_s[part]
    at = np.interp(places, travelled, time[moves])
    rates = _cumulative(r, p, efficiency)
    inertia = r.mass_kg + spin
    v = np.nan_to_num(r.speed_mps[part])[moves]
    *sums, speed, square = _around(places, travelled, np.array([*(c[moves] for c in rates.values()), v, v**2]))
    diff = dict(zip(rates, np.diff(sums), strict=True))
    kinetic = 0.5 * inertia * square
    weight = r.mass_kg * STANDARD_GRAVITY
    count = max(places.size - 1, 0)
    full = np.ones(count)
    moving = rates["work"][moves] - 0.5 * inertia * v**2 - rates["bearing"][moves]
    push, area_rate = _rate(places, travelled, moving), _rate(places, travelled, rates["area"][moves])
    powers = _rate(places, travelled, rates["work"][moves]) * speed
    height = np.full(count, np.nan) if r.altitude_m is None else np.diff(_height_at(r, at))
    return {
        "run": full * p.run, "ride": full * ride, "place": numbers[:-1] if count else np.zeros(0),
        "direction": full * p.direction,
        "begin_s": at[:-1] if count else np.zeros(0), "duration_s": np.diff(at), "length_m": diff["length"],
        "energy_j": diff["work"] - np.diff(kinetic) - diff["bearing"], 
        "work_j": diff["work"], "area_j_m2": diff["area"],
        "yaw_area_j_m2": diff["yaw_area"], "abs_yaw_area": diff["abs_yaw"], "rolling_j": weight * diff["length"],
        "weight_n": full * weight, "power_square": diff["power2"], "air_square": diff["air2"],
        "speed_gain": inertia * speed[:count], "speed_gain_end": inertia * speed[1:] if count else np.zeros(0),
        "push_n": push[:count], "push_end_n": push[1:] if count else push[:0],
        "area_rate": area_rate[:count], "area_rate_end": area_rate[1:] if count else area_rate[:0],
        "power_step_w": np.diff(powers), "area_step_w_m2": np.diff(area_rate * speed),
        "height_m": height, "missing_s": diff["missing"], "soft_s": diff["soft"],
    }  # fmt: skip


def _around(places_m: Array, travelled_m: Array, values: Array) -> Array:
    """Means of quantities, a row each, over a short piece of road about each mark.

    Every term of the balance is averaged alike and over the same road on every pass, so that the balance (and the
    height in it) still holds to the letter while the noise of single speed samples averages out. Smoothing the
    speed alone would push what a gust does over the mark into the next stretch, and dilute the drag area.
    """
    if places_m.size == 0:
        return np.zeros((len(values), 0))
    step = np.diff(travelled_m)
    total = np.zeros(values.shape)
    np.cumsum(0.5 * (values[:, 1:] + values[:, :-1]) * step, axis=1, out=total[:, 1:])

    def integral(x: Array) -> Array:  # exact between samples too: a gap may be longer than the window
        j = np.clip(np.searchsorted(travelled_m, x, side="right") - 1, 0, travelled_m.size - 2)
        beyond = x - travelled_m[j]
        share = np.clip(beyond / step[j], 0.0, 1.0)
        here, after = values[:, j], values[:, j + 1]
        return np.asarray(total[:, j] + beyond * (here + 0.5 * share * (after - here)))

    return (integral(places_m + MARK_WINDOW_M) - integral(places_m - MARK_WINDOW_M)) / (2.0 * MARK_WINDOW_M)


def _rate(places_m: Array, travelled_m: Array, total: Array) -> Array:
    """Growth of a running sum for each metre, over the road about each mark."""
    ends = [np.interp(places_m + d, travelled_m, total) for d in (MARK_WINDOW_M, -MARK_WINDOW_M)]
    return np.asarray((ends[0] - ends[1]) / (2.0 * MARK_WINDOW_M))


def _height_at(r: Samples, at_s: Array) -> Array:
    assert r.altitude_m is not None
    known = np.isfinite(r.altitude_m)
    if known.sum() < 10:
        return np.full(at_s.size, np.nan)
    padded = np.pad(r.altitude_m[known], 2, mode="edge")
    smooth = np.convolve(padded, np.full(5, 0.2), mode="valid")
    return np.interp(at_s, r.time_s[known], smooth)

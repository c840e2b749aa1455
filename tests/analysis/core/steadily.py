"""Steady rides of a lap on the level, whose answer is a formula, and their balance."""

from dataclasses import replace

import numpy as np

from analysis.core.balance import ODD_Z, Balance, Clocks, Frame, Noise, solve
from analysis.core.constants import STANDARD_GRAVITY
from analysis.core.course import Layout, lay_out
from analysis.core.road import bearing_power_w
from analysis.core.samples import Samples
from analysis.core.stretches import Stretches, add_up
from analysis.core.types import Course

QUIET = Noise(power_relative=0.03, speed_mps=0.01, air_mps=0.0, run_m=0.1, leg_m=0.01, ahead_m=0.01)
IN_STEP = Clocks(np.zeros(2), np.full(2, 0.01))


def steady(speed: float, power: float, seconds: int = 400, **changes) -> Samples:
    """A lap rider at one speed and power on the level, without wind; air density 1.2, 80 kg."""
    t = np.arange(float(seconds))
    plain = Samples(
        number=1, setup="A", mass_kg=80.0, time_s=t, step_s=np.r_[0.0, np.ones(seconds - 1)], distance_m=speed * t,
        speed_mps=np.full(seconds, speed), power_w=np.full(seconds, power), air_mps=np.full(seconds, speed),
        yaw_rad=np.zeros(seconds), density_kg_m3=np.full(seconds, 1.2), altitude_m=None, east_m=None, north_m=None,
        tilt_rad=None, temperature_k=290.0, pressure_pa=1e5, sound=np.r_[False, np.ones(seconds - 1, dtype=bool)],
        gap_s=0.0, dropout_s=0.0, blocked_s=0.0, has_yaw=True, has_weather=True,
    )  # fmt: skip
    return replace(plain, **changes)


def squared(r: Samples, side_m: float = 250.0) -> Samples:
    """The same ride round a square block with corners of 12 m radius, on its own wheel's distance."""
    arc, straight = 6.0 * np.pi, side_m - 24.0
    side = np.floor(r.distance_m / (straight + arc))
    on = np.minimum(r.distance_m - side * (straight + arc), straight)
    turned = (r.distance_m - side * (straight + arc) - on) / 12.0
    along, left = on + 12.0 * np.sin(turned), 12.0 * (1.0 - np.cos(turned))
    starts = np.cumsum([0.0, *((straight + 12.0 + 12.0j) * 1j**k for k in range(3))])
    place = starts[side.astype(int) % 4] + (along + 1j * left) * 1j ** (side % 4)
    return replace(r, east_m=place.real, north_m=place.imag)


def block_m(side_m: float = 250.0) -> float:
    """Once round such a block."""
    return 4.0 * (side_m - 24.0 + 6.0 * np.pi)


def on_laps(runs: list[Samples], lap_m: float = 1000.0) -> Layout:
    whole = [replace(r, distance_m=r.distance_m) for r in runs]
    layout = lay_out(whole, Course("lap", lap_m))
    assert layout.no_path == ()
    return layout


def balanced(
    runs: list[Samples], *, crr: float, efficiency: float, noise: Noise = QUIET, odd_z: float = ODD_Z
) -> tuple[Balance, Stretches]:
    layout = on_laps(runs)
    rows = add_up(runs, layout, efficiency, spin_mass_kg=0.0)
    frame = Frame(crr, noise, IN_STEP, layout.closed, layout.marks_m.size, odd_z)
    return solve(rows, rows.sound, np.zeros(len(runs), dtype=np.intp), frame), rows


def cubic_power(speed: float, cda: float, crr: float, efficiency: float) -> float:
    """P = (rho/2 CdA v^3 + Crr m g v + bearings) / eta: Martin et al. (1998) on the level without wind."""
    return (0.6 * cda * speed**3 + crr * 80 * STANDARD_GRAVITY * speed + float(bearing_power_w(speed))) / efficiency

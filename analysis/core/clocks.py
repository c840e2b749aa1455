"""Streams that come late: air and power against the wheel's speed. The balance itself belongs to `balance`.

Small delays are unknowns of the balance with a prior. At a turn the ground speed falls and rises in the air speed as
well, and so tells the air's delay to two tenths of a second; without turns its gusts tell it. Power is steadier: a
delay of seconds shows at the turns, where the rider speeds up as the power comes back.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.core import balance
from analysis.core.balance import Balance, Clocks, Frame, Noise
from analysis.core.course import Layout
from analysis.core.samples import CLOCK_SD_S, Samples
from analysis.core.stretches import Stretches, add_up
from analysis.core.types import Array, IntArray

STEP_S = 0.5  # a stream that is later than this is moved, and the balance computed anew
FAR_S, FAR_Z, FAR_SD_S = 0.9, 4.0, 10.0  # beyond this the air's own gusts overrule the prior
TURN_S = 1.5  # a delay of power that is plain at the turns
ROUNDS = 7
LONGEST_S, NEAR_TURN_S = 10, 25  # delays that are tried, and the time about a turn that is compared
TURN_AIR_SD_S = 0.2  # how well the turns tell the air's delay (measured on simulated sessions)
FEWEST_TURNS = 3
UNBRAKED_MPS2 = 0.5  # wind and road slow a rider by no more
TOLD = 1.1  # times the least sum of squares is what no delay leaves, at least
SLOPE_M, SLOPE_CELLS = 25.0, 18  # the road's slope about a turn
GUST_KEEP = 0.7  # of a gust from one second to the next, about


def in_time(
    runs: list[Samples],
    layout: Layout,
    tyre_state: IntArray,
    noise: Noise,
    *,
    crr: float,
    efficiency: float,
    spin_mass_kg: float,
    odd_z: float = balance.ODD_Z,
) -> tuple[list[Samples], Stretches, Balance]:
    """The balance with all streams in step: large delays are moved, small ones stay unknowns of the fit.

    Parameters
    ----------
    runs : list of Samples
        Prepared samples of the usable runs [1].
    layout : Layout
        Passes and marks [m].
    tyre_state : ndarray of int, shape (runs,)
        Which tyres and pressures each run rode on [1].
    noise : Noise
        Of the balance [1].
    crr : float
        Assumed rolling resistance [1].
    efficiency : float
        Of the drivetrain [1].
    spin_mass_kg : float
        Wheel inertia over the squared wheel radius [kg].
    odd_z : float
        Standard deviations from its twins beyond which a stretch is left out [1].

    Returns
    -------
    tuple of list of Samples, Stretches and Balance
        The runs as moved, their sums, the balance with the whole delays [s].
    """
    at_turns = power_late_at_turns(runs, layout)
    air = air_late_at_turns(runs, layout)
    late = np.array([air if air is not None and abs(air) > STEP_S else 0.0, at_turns if abs(at_turns) > TURN_S else 0])
    believed = np.array([air or 0.0, late[1]])
    sd = np.array([CLOCK_SD_S if air is None else TURN_AIR_SD_S, CLOCK_SD_S])
    if late.any():
        runs = [r.earlier(air_s=float(late[0]), power_s=float(late[1])) for r in runs]
    for attempt in range(ROUNDS):
        rows = add_up(runs, layout, efficiency, spin_mass_kg)
        clocks = Clocks(np.where(sd > CLOCK_SD_S, 0.0, believed - late), sd)
        frame = Frame(crr, noise, clocks, layout.closed, layout.marks_m.size, odd_z)
        solved = balance.solve(rows, rows.sound, tyre_state, frame)
        if attempt == ROUNDS - 1:
            break
        alone_u = np.maximum(solved.late_u_s**-2.0 - sd**-2.0, 1e-3) ** -0.5  # what the data say without the prior
        alone = clocks.mean_s + (solved.late_s - clocks.mean_s) * (alone_u**2 + sd**2) / sd**2
        whole = np.abs(late + alone)
        far = np.array([air is None and whole[0] > FAR_S and whole[0] > FAR_Z * alone_u[0], False])
        widen = far & (sd <= CLOCK_SD_S)
        sd = np.where(far, FAR_SD_S, sd)
        wanted = np.clip(np.where(far, alone, solved.late_s), -2.5, 2.5)
        step = np.where(np.abs(solved.late_s) > STEP_S, wanted, 0.0)
        if not step.any() and not widen.any():
            break
        late = late + step
        runs = [r.earlier(air_s=float(step[0]), power_s=float(step[1])) for r in runs]
    return runs, rows, replace(solved, late_s=late + solved.late_s)


def air_late_at_turns(runs: list[Samples], layout: Layout) -> float | None:
    """How late the air speed is by the turns: it holds the ground speed and a headwind that turns round with the rider.

    The air about each turn is fitted by the ground speed and a headwind before and after, shifted by whole seconds;
    the least sum of squares over all turns, between the seconds by a parabola, tells the delay. A slow sensor's lag is
    part of it.

    Parameters
    ----------
    runs : list of Samples
        Prepared samples [1].
    layout : Layout
        Passes, whose ends are the turns [m].

    Returns
    -------
    float or None
        Delay, None where there are fewer than three turns [s].
    """
    if layout.closed:
        return None
    misses = [
        miss
        for p in layout.passes
        if p.last < runs[p.run].time_s.size - 3 and (miss := _air_misses(runs[p.run], p.last)) is not None
    ]
    if len(misses) < FEWEST_TURNS:
        return None
    total = np.sum(misses, axis=0)
    best = int(np.clip(np.argmin(total), 1, total.size - 2))
    before, here, after = total[best - 1 : best + 2]
    bend = before - 2.0 * here + after
    return float(best - LONGEST_S + (0.5 * (before - after) / bend if bend > 0.0 else 0.0))


def _air_misses(r: Samples, turn: int) -> Array | None:
    """Sum of squares that is left about one turn, for each delay that is tried, over that of the best."""
    assert r.air_mps is not None
    known, moving = np.isfinite(r.air_mps), np.isfinite(r.speed_mps)
    middle = float(r.time_s[turn])
    reach = NEAR_TURN_S + LONGEST_S
    near = (r.time_s > middle - reach) & (r.time_s < middle + reach)
    if known[near].mean() < 0.9 or r.time_s[0] > middle - reach or r.time_s[-1] < middle + reach:
        return None
    time = middle + np.arange(-float(reach), reach + 1.0)
    ends = 0.5 * (r.speed_mps[moving][1:] + r.speed_mps[moving][:-1])  # speed holds at its sample, air over the step
    ground = _means(r.time_s[moving], np.concatenate([ends[:1], ends]), time)
    air = _means(r.time_s[known], r.air_mps[known], time)
    kept = slice(LONGEST_S, time.size - LONGEST_S)
    back = np.clip(0.5 * (time - middle) + 0.5, 0.0, 1.0)[kept]
    shifted = np.lib.stride_tricks.sliding_window_view(air, time.size - 2 * LONGEST_S).T
    design = np.column_stack([ground[kept], 1.0 - back, back])
    design, shifted = (x[1:] - GUST_KEEP * x[:-1] for x in (design, shifted))
    q = np.linalg.qr(design)[0]
    return np.asarray(np.sum((shifted - q @ (q.T @ shifted)) ** 2, axis=0))


def _means(time_s: Array, over_step: Array, at_s: Array) -> Array:
    """Means over the second that ends at each time, however often was recorded."""
    total = np.cumsum(over_step * np.diff(time_s, prepend=time_s[0]))
    return np.asarray(np.interp(at_s, time_s, total) - np.interp(at_s - 1.0, time_s, total))


def power_late_at_turns(runs: list[Samples], layout: Layout) -> float:
    """How late the power is by the turns: no bicycle speeds up before it is pushed, nor keeps its speed without.

    About all turns together the growth of the kinetic energy is fitted by the power, shifted by whole seconds, the drag
    of the sensed air, rolling, and the road's slope at every distance from the turn, which turns round with the rider.
    Seconds in which a brake may help are left out; where the rider stops pedalling, and for how long, is not asked.

    Parameters
    ----------
    runs : list of Samples
        Prepared samples [1].
    layout : Layout
        Passes, whose ends are the turns [m].

    Returns
    -------
    float
        Delay, 0 where fewer than three turns tell it, or tell nothing else than none [s].
    """
    turns = [(runs[p.run], p) for p in layout.passes if p.last < runs[p.run].time_s.size - 3]
    told = [t for r, p in turns if (t := _about_turn(r, p.last, p.direction)) is not None]
    if layout.closed or len(told) < FEWEST_TURNS:
        return 0.0
    cause, shifted = (np.concatenate(parts) for parts in zip(*told, strict=True))
    cause = cause[:, np.any(cause != 0.0, axis=0)]
    q = np.linalg.qr(cause)[0]
    left = np.sum((shifted - q @ (q.T @ shifted)) ** 2, axis=0)
    best = int(np.clip(np.argmin(left), 1, left.size - 2))
    if left[LONGEST_S] < TOLD * left[best]:
        return 0.0
    before, here, after = left[best - 1 : best + 2]
    bend = before - 2.0 * here + after
    return float(best - LONGEST_S + (0.5 * (before - after) / bend if bend > 0.0 else 0.0))


def _about_turn(r: Samples, turn: int, direction: int) -> tuple[Array, Array] | None:
    """What moves the rider in each second about one turn but for the power, and power less growth for each delay."""
    known, moving = np.isfinite(r.power_w), np.isfinite(r.speed_mps)
    middle = float(r.time_s[turn])
    reach = NEAR_TURN_S + LONGEST_S
    near = (r.time_s > middle - reach) & (r.time_s < middle + reach)
    if known[near].mean() < 0.9 or r.time_s[0] > middle - reach or r.time_s[-1] < middle + reach:
        return None
    time = middle + np.arange(-float(reach), reach + 1.0)
    speed = np.interp(np.concatenate([time[:1] - 1.0, time]), r.time_s[moving], r.speed_mps[moving])
    ground, grown = 0.5 * (speed[1:] + speed[:-1]), np.diff(speed**2)
    air = ground if r.air_mps is None else np.interp(time, r.time_s, np.where(np.isfinite(r.air_mps), r.air_mps, 0.0))
    power = _means(r.time_s[known], r.power_w[known], time)
    slowing = grown < -2.0 * ground * UNBRAKED_MPS2
    kept = slice(LONGEST_S, time.size - LONGEST_S)
    free = ~(slowing | np.roll(slowing, 1) | np.roll(slowing, -1))[kept]
    away = np.interp(time - 0.5, r.time_s, r.distance_m) - r.distance_m[turn]
    cells = np.maximum(1.0 - np.abs(np.abs(away)[:, None] / SLOPE_M - np.arange(SLOPE_CELLS)), 0.0)
    rising = cells * (-np.sign(away) * direction * ground)[:, None]
    rising = np.hstack([rising, np.zeros_like(rising)][::direction])  # either end of the course has a road of its own
    cause = np.column_stack([ground, ground * air * np.abs(air), rising])[kept][free]
    shifted = np.lib.stride_tricks.sliding_window_view(power, time.size - 2 * LONGEST_S).T[free]
    return cause, np.asarray(shifted - 0.5 * r.mass_kg * grown[kept][free][:, None])

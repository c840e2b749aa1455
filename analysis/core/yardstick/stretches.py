"""What truly happened between fixed places of the course, summed from the rides themselves.

The linearised model of a session (`linear`) is made of these sums. Nothing here is sensed or estimated.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from analysis.core.simulate.course import TABLE_STEP_M
from analysis.core.simulate.motion import Ridden
from analysis.core.simulate.sensors import sag_since
from analysis.core.simulate.world import World
from analysis.core.types import Array

Mask = NDArray[np.bool_]

MARK_M = 100.0  # distance between marks, about
TURN_M = 60.0  # left out on either side of a turn
WAKE_MPS = 0.05  # a change of the air that counts as a wake


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """One entry a stretch, shape (n,); unit vectors point from the air's motion to what the rider feels."""

    run: Array  # counts from 0
    ride: Array  # pass of the course, counts from 0 over the session
    first: Array  # mark where it begins
    last: Array  # mark where it ends
    time_s: Array  # of its middle
    duration_s: Array
    length_m: Array
    work_j: Array  # power at the pedals
    power_square: Array  # [W2 s]
    exposure: Array  # X: 1/2 rho V a v dt [J/m2]
    yaw_exposure: Array  # the same times sin^2(yaw)
    tan_exposure: Array  # the same times tan(yaw)
    air_slope: Array  # dX by the air along the road [J s/m3]
    cross_slope: Array  # dX by the air across it [J s/m3]
    air_square: Array  # sum of (rho a v)^2 dt
    air_mps: Array
    cross_mps: Array
    air_step: Array  # change of the air speed from begin to end [m/s]
    air_shift: Array  # dX by a second that the air comes earlier [W/m2]: the ground speed does not shift with it
    power_step_w: Array
    begin_mps: Array
    end_mps: Array
    heading: Array  # [rad]
    flow_m: Array  # air passed since the run began, at the middle
    flow_span_m: Array  # air passed within
    sag: Array  # change of the gain by the mount
    direction: Array  # +1 with the marks, -1 against them
    slope_step: Array  # change of the road's slope along the marks, end less begin, as ridden
    energy_ok: Array  # 1 where the balance can be drawn
    air_ok: Array  # 1 where the air was sensed

    def where(self, keep: Mask) -> Stretches:
        return Stretches(**{f.name: getattr(self, f.name)[keep] for f in fields(self)})


def cut(world: World, rides: Sequence[Ridden]) -> tuple[Stretches, Array]:
    """Cut all rides at the marks that they share.

    Parameters
    ----------
    world : World
    rides : sequence of Ridden
        The rides of one session.

    Returns
    -------
    tuple of Stretches and ndarray
        Sums over each stretch [J], and the places of the marks on the course [m].
    """
    closed = world.kind == "lap"
    low = max(r.path.start_m for r in rides)
    span = world.length_m if closed else min(r.path.start_m + r.path.length_m / 2 for r in rides) - TURN_M - low
    pieces = max(round(span / MARK_M), 2)
    marks: Array = np.asarray(low + span / pieces * np.arange(pieces if closed else pieces + 1), dtype=float)
    columns: dict[str, list[Array]] = {f.name: [] for f in fields(Stretches)}
    number = 0
    for run, ridden in enumerate(rides):
        for places, direction in _passes(world, ridden, marks):
            part = _sums(world, ridden, run, places)
            inside = np.arange(places.size - 1, dtype=float)
            first = inside if direction > 0 else inside[::-1] + 1
            part["first"] = first
            part["last"] = np.mod(first + 1, pieces) if closed else first + direction
            part["run"] = np.full(first.size, run)
            part["ride"] = np.full(first.size, number)
            part["direction"] = np.full(first.size, direction)
            for name, values in columns.items():
                values.append(np.asarray(part[name], dtype=float))
            number += 1
    return Stretches(**{name: np.concatenate(values) for name, values in columns.items()}), marks


def _passes(world: World, ridden: Ridden, marks: Array) -> list[tuple[Array, int]]:
    """Distances ridden at which each pass crosses the marks, in the order ridden."""
    start, length = ridden.path.start_m, ridden.path.length_m
    out = marks - start
    if world.kind == "out_and_back":
        return [(out, 1), ((length - out)[::-1], -1)]
    closing = np.append(out, out[0] + world.length_m)
    rounds = [closing + k * world.length_m for k in range(world.laps)]
    return [(r[r <= length], 1) for r in rounds]


def _sums(world: World, ridden: Ridden, run: int, places: Array) -> dict[str, Array]:
    """Sums over each stretch between distances ridden, from running totals at the integrator's steps."""
    ride, body, dt = ridden.ride, ridden.body, ridden.ride.step_s
    time: Array = np.asarray(dt * np.arange(1, ride.speed_mps.size + 1), dtype=float)
    flow2 = ride.along_mps**2 + ride.cross_mps**2
    flow = np.maximum(np.sqrt(flow2), 1e-6)
    middle = (ride.speed_mps + np.append(ride.speed_mps[0], ride.speed_mps[:-1])) / 2
    density = 0.5 * body.density_kg_m3 * middle
    exposure = density * flow * ride.along_mps
    at = np.interp(places, ride.distance_m, time)

    def between(rate: Array) -> Array:
        """Integral over time of a rate, between the places."""
        total = np.concatenate([[0.0], np.cumsum(rate) * dt])
        return np.diff(np.interp(at, np.append(0.0, time), total))

    def change(series: Array) -> Array:
        return np.diff(np.interp(at, time, _seconds(series, dt)))

    duration = np.diff(at)
    tangent = ride.cross_mps / np.maximum(ride.along_mps, 1.0)
    speed = np.interp(at, time, ride.speed_mps)
    slope = np.interp(places / TABLE_STEP_M, np.arange(ridden.path.height_m.size), ridden.path.slope())
    heading = np.interp(
        (places[1:] + places[:-1]) / 2 / TABLE_STEP_M, np.arange(ridden.path.height_m.size), ridden.path.heading_rad
    )
    passed = np.interp(at, np.append(0.0, time), np.concatenate([[0.0], np.cumsum(flow) * dt]))
    when = ridden.begins_s + (at[1:] + at[:-1]) / 2
    wake = np.abs(ridden.sensed_wake_mps[: time.size]) + np.abs(_wake(world, run, time)) > WAKE_MPS
    lost = {name: _lost(world, run, at, name) for name in ("power", "air")}
    undisturbed = (between(wake.astype(float)) == 0) & ~lost["air"]
    free = (between(ride.braked) == 0) & (between((ride.speed_mps < 2.0).astype(float)) == 0)
    return {
        "time_s": when,
        "duration_s": duration,
        "length_m": np.diff(places),
        "work_j": between(ride.power_w),
        "power_square": between(ride.power_w**2),
        "exposure": between(exposure),
        "yaw_exposure": between(exposure * ride.cross_mps**2 / np.maximum(flow2, 1e-9)),
        "tan_exposure": between(exposure * tangent),
        "air_slope": between(density * (flow + ride.along_mps**2 / flow)),
        "cross_slope": between(density * ride.along_mps * ride.cross_mps / flow),
        "air_square": between((2 * density * ride.along_mps) ** 2),
        "air_mps": between(ride.along_mps) / duration,
        "cross_mps": between(ride.cross_mps) / duration,
        "air_step": change(ride.along_mps),
        "air_shift": between(density * np.gradient(flow * ride.along_mps, dt)),
        "power_step_w": change(ride.power_w),
        "begin_mps": speed[:-1],
        "end_mps": speed[1:],
        "heading": heading,
        "flow_m": (passed[1:] + passed[:-1]) / 2,
        "flow_span_m": np.diff(passed),
        "sag": sag_since(world, when),
        "slope_step": np.diff(slope),
        "energy_ok": free & ~lost["power"] & (undisturbed if world.airspeed else between(wake.astype(float)) == 0),
        "air_ok": undisturbed & (duration < 4 * np.median(duration)),
    }


def _seconds(series: Array, dt: float) -> Array:
    """Running mean over a second, as instruments report."""
    width = round(1 / dt)
    return np.convolve(np.pad(series, (width - 1, 0), mode="edge"), np.full(width, 1 / width), mode="valid")


def _wake(world: World, run: int, time: Array) -> Array:
    """Air that passing vehicles take from the rider."""
    calm = np.zeros(time.size)
    for v in world.vehicles:
        if v.run == run + 1:
            calm += v.calms_mps * np.sin(math.pi * np.clip((time - v.at_s) / v.for_s, 0, 1))
    return calm


def _lost(world: World, run: int, at_s: Array, stream: str) -> Mask:
    """Stretches in which a stream dropped out."""
    lost = np.zeros(at_s.size - 1, dtype=bool)
    for hole in world.holes:
        if hole.run == run + 1 and hole.stream in ("all", stream):
            lost |= (at_s[1:] > hole.at_s) & (at_s[:-1] < hole.at_s + hole.for_s)
    return lost

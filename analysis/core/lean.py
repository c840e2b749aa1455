"""Riding bends: how far a rider leans, and how much slower than the wheels the body goes. No session is estimated here.

Drag acts on the body, a wheel sensor reads the wheels: on a track the drag area by wheel speed alone comes out low.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.core.arguments import positive
from analysis.core.constants import STANDARD_GRAVITY
from analysis.core.types import Array

_STEPS = 20  # Newton's steps from above: six reach the last digit at any rideable speed


@dataclass(frozen=True, slots=True, eq=False)
class Lean:
    """A steady bend, banked or not: the banking changes the side force of the tyres, not the lean."""

    lean_rad: Array  # from the vertical
    radius_m: Array  # of the path of the centre of mass
    speed_mps: Array  # of the centre of mass
    load: Array  # on the tyres, over that on a straight
    drop_m: Array  # of the centre of mass below its height upright


@dataclass(frozen=True, slots=True, eq=False)
class TrackLap:
    """Two half circles and two straights at one wheel speed, leaning at once."""

    bends_m: float  # length of both, by the wheels
    straights_m: float
    duration_s: float
    path_m: float  # of the centre of mass
    mean_speed_mps: float  # of the centre of mass, over time
    drag_factor: float  # mean of (its speed over the wheels')^3 over the distance: drag area by wheels is low by it


def lean(speed_mps: float | Array, radius_m: float | Array, height_m: float | Array) -> Lean:
    """Lean in a bend of constant radius at a constant speed.

    Parameters
    ----------
    speed_mps : array_like
        Speed of the wheels [m/s].
    radius_m : array_like
        Radius of the wheels' path [m].
    height_m : array_like
        Height of the centre of mass above the ground, upright; under the radius [m].

    Returns
    -------
    Lean
        Lean [rad], path [m] and speed [m/s] of the centre of mass, load of the tyres [1].

    Raises
    ------
    ValueError
        A centre of mass above the middle of the bend.

    References
    ----------
    Balance of moments about the line of the wheels: tan(lean) = v_c^2 / (g r_c), r_c = R - h sin(lean),
    v_c = v r_c / R.
    """
    speed, radius = positive("speed_mps", speed_mps), positive("radius_m", radius_m)
    height = positive("height_m", height_m)
    if np.any(height >= radius):
        raise ValueError("height_m must be below radius_m: the centre of mass would be beyond the middle of the bend")
    push = speed**2 / (STANDARD_GRAVITY * radius)
    angle = np.arctan(push)  # as if the body went as wide as the wheels: too far, so that Newton comes from above
    for _ in range(_STEPS):
        excess = np.tan(angle) - push * (1.0 - height / radius * np.sin(angle))
        angle = angle - excess / (1.0 / np.cos(angle) ** 2 + push * height / radius * np.cos(angle))
    inner = radius - height * np.sin(angle)
    return Lean(angle, inner, speed * inner / radius, 1.0 / np.cos(angle), height * (1.0 - np.cos(angle)))


def track_lap(speed_mps: float, radius_m: float, length_m: float, height_m: float) -> TrackLap:
    """Once round a track of two half circles and two straights at a constant wheel speed.

    Parameters
    ----------
    speed_mps : float
        Speed of the wheels [m/s].
    radius_m : float
        Radius of the wheels' path in the bends [m].
    length_m : float
        Once round by the wheels [m].
    height_m : float
        Height of the centre of mass above the ground, upright [m].

    Returns
    -------
    TrackLap
        Lengths [m], time [s], speed of the centre of mass [m/s] and what of the drag the wheels do not see [1].

    Raises
    ------
    ValueError
        A lap shorter than its bends.
    """
    bends = 2.0 * math.pi * float(positive("radius_m", radius_m))
    if bends > float(positive("length_m", length_m)):
        raise ValueError(f"length_m must be {bends:g} or more, the length of both bends; got {length_m:g}")
    slower = float(lean(speed_mps, radius_m, height_m).speed_mps) / speed_mps
    straights, seconds = length_m - bends, length_m / speed_mps
    path = bends * slower + straights
    return TrackLap(bends, straights, seconds, path, path / seconds, (bends * slower**3 + straights) / length_m)

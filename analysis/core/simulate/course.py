"""The road of one run, as tables over the distance ridden: heading, slope, place, and where to slow down."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from analysis.core.simulate.world import Brake, World
from analysis.core.types import Array

TABLE_STEP_M = 1.0


@dataclass(frozen=True, slots=True)
class Slow:
    """A place the rider brakes for: the speed there, how firmly, and how long the rider then stands still."""

    at_m: float
    speed_mps: float
    firm_mps2: float
    wait_s: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """Tables over the distance ridden, one entry a metre; `length_m` is the whole run."""

    length_m: float
    heading_rad: Array
    height_m: Array
    east_m: Array
    north_m: Array
    slows: tuple[Slow, ...] = ()
    brakes: tuple[Brake, ...] = ()
    start_m: float = 0.0  # place on the course

    def slope(self) -> Array:
        """Rise over distance between neighbouring entries, so that the summed climb is exactly the height."""
        return np.append(np.diff(self.height_m) / TABLE_STEP_M, 0.0)


def height_along(world: World, along_m: Array, phases: Array) -> Array:
    """Height of the road: whole waves on the course, so that a lap closes.

    Parameters
    ----------
    world : World
    along_m : ndarray, shape (n,)
        Place on the course [m].
    phases : ndarray, shape (2,)
        Phases of the two waves [rad].

    Returns
    -------
    ndarray, shape (n,)
        Height above the mean of the course [m].
    """
    turn = 2 * math.pi * along_m / world.length_m
    waves = np.sin(3 * turn + phases[0]) + 0.4 * np.sin(8 * turn + phases[1])
    return np.asarray(world.undulation_m * waves)


def out_and_back(world: World, phases: Array, start_m: float, turn_m: float, *, from_far: bool = False) -> Path:
    """A straight road ridden to a turn and back to where the run began.

    Parameters
    ----------
    world : World
    phases : ndarray, shape (2,)
        Phases of the road's waves [rad].
    start_m, turn_m : float
        Where this run starts and turns, from the first mark [m].
    from_far : bool
        Begun at the far end, from which both places then count [1].

    Returns
    -------
    Path
        Tables over the distance ridden [m].
    """
    leg = turn_m - start_m
    ridden = np.arange(0.0, 2 * leg + 2 * TABLE_STEP_M, TABLE_STEP_M)
    along = np.where(ridden <= leg, start_m + ridden, turn_m - (ridden - leg))
    if from_far:
        along = world.length_m - along
    return Path(
        length_m=2 * leg,
        heading_rad=world.bearing_rad + math.pi * ((ridden >= leg) != from_far),
        height_m=height_along(world, along, phases),
        east_m=along * math.sin(world.bearing_rad),
        north_m=along * math.cos(world.bearing_rad),
        slows=(Slow(leg, world.turn_speed_mps, world.braking_mps2),),
        start_m=start_m,
    )


def laps(world: World, phases: Array, start_m: float) -> Path:
    """Two straights joined by half circles, ridden clockwise several times to a run.

    Parameters
    ----------
    world : World
    phases : ndarray, shape (2,)
        Phases of the road's waves [rad].
    start_m : float
        Where this run starts, from the first mark [m].

    Returns
    -------
    Path
        Tables over the distance ridden [m].
    """
    ridden = np.arange(0.0, world.laps * world.length_m + 2 * TABLE_STEP_M, TABLE_STEP_M)
    around = np.mod(start_m + ridden, world.length_m)
    bend = math.pi * world.bend_radius_m
    straight = world.length_m / 2 - bend
    half, into = np.divmod(around, world.length_m / 2)
    heading = world.bearing_rad + math.pi * (half + np.clip((into - straight) / bend, 0, 1))
    return Path(
        length_m=world.laps * world.length_m,
        heading_rad=heading,
        height_m=height_along(world, around, phases),
        east_m=_travelled(np.sin(heading)),
        north_m=_travelled(np.cos(heading)),
        start_m=start_m,
    )


def turned_round(path: Path) -> Path:
    """The same laps the other way round.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Path
        From where the given one ends to where it begins [m].
    """
    return replace(
        path,
        heading_rad=path.heading_rad[::-1] + math.pi,
        height_m=path.height_m[::-1],
        east_m=path.east_m[::-1],
        north_m=path.north_m[::-1],
    )


def _travelled(direction: Array) -> Array:
    return np.concatenate([[0.0], np.cumsum((direction[1:] + direction[:-1]) / 2)]) * TABLE_STEP_M

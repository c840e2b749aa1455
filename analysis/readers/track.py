"""Where a recording went and how fast, from whatever channels it has: good enough to propose runs, not to analyse."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.core.types import Array
from analysis.readers.samples import Recording

EARTH_M = 6_371_008.8  # mean radius R1, IUGG (Moritz 2000)
LOST_S = 5.0  # a step longer than this is judged by how far it led, not by the speed at its ends


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """Samples of a recording in plain metres; without positions `placed` is False and places are NaN."""

    time_s: Array
    distance_m: Array  # ridden since the first sample
    step_mps: Array  # mean speed from a sample to the next, one fewer
    east_m: Array
    north_m: Array

    @property
    def placed(self) -> bool:
        return bool(np.isfinite(self.east_m).any())

    def ridden(self, first: int, last: int) -> float:
        return float(self.distance_m[last] - self.distance_m[first])


def track_of(recording: Recording) -> Track:
    """Take speed from the speed channel, else the distance, else the positions; gaps by how far they led."""
    time_s = recording.time_s
    east_m, north_m = _places(recording)
    steps_s = np.diff(time_s)
    moved = _moved(east_m, north_m)
    odometer = _filled(time_s, recording.columns.get("distance_m"))
    rolled = np.full(steps_s.size, np.nan) if odometer is None else np.maximum(np.diff(odometer), 0.0)
    speed = recording.columns.get("speed_mps")
    ridden = np.full(steps_s.size, np.nan) if speed is None else 0.5 * (speed[1:] + speed[:-1]) * steps_s
    lost = steps_s > LOST_S
    jumped = np.hypot(np.diff(east_m), np.diff(north_m))
    best = np.where(lost, _first(rolled, jumped), _first(ridden, rolled, moved))
    best = np.maximum(np.nan_to_num(best), 0.0)
    return Track(time_s, np.concatenate([[0.0], np.cumsum(best)]), best / steps_s, east_m, north_m)


def _first(*choices: Array) -> Array:
    """The first choice that is known, step by step."""
    known = choices[0]
    for other in choices[1:]:
        known = np.where(np.isfinite(known), known, other)
    return known


def _places(recording: Recording) -> tuple[Array, Array]:
    latitude = _filled(recording.time_s, recording.columns.get("latitude_deg"))
    longitude = _filled(recording.time_s, recording.columns.get("longitude_deg"))
    if latitude is None or longitude is None:
        nowhere = np.full(recording.time_s.size, np.nan)
        return nowhere, nowhere
    middle = float(np.median(latitude))
    north = np.deg2rad(latitude - middle) * EARTH_M
    # The short way round where a ride crosses the date line.
    turned = (longitude - longitude[0] + 180.0) % 360.0 - 180.0
    return np.deg2rad(turned) * EARTH_M * math.cos(math.radians(middle)), north


def _moved(east_m: Array, north_m: Array) -> Array:
    """Metres from sample to sample, over five samples so that a standing receiver's noise does not ride."""
    if east_m.size < 6:
        return np.asarray(np.hypot(np.diff(east_m), np.diff(north_m)), dtype=np.float64)
    ahead = np.minimum(np.arange(east_m.size - 1) + 3, east_m.size - 1)
    behind = np.maximum(ahead - 5, 0)
    span = np.hypot(east_m[ahead] - east_m[behind], north_m[ahead] - north_m[behind])
    return np.asarray(span / (ahead - behind), dtype=np.float64)


def _filled(time_s: Array, values: Array | None) -> Array | None:
    """Bridge gaps straight, for this purpose only."""
    if values is None or not np.isfinite(values).any():
        return None
    known = np.isfinite(values)
    return np.asarray(np.interp(time_s, time_s[known], values[known]), dtype=np.float64)

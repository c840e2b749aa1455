"""How far and how long was ridden in a recording: what wears a piece of equipment, not what a drag area rests on.

Stops and gaps count as neither; whether a stretch is fit for a drag area is `samples.py`'s business.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.samples import SHORT_GAP_S, plane_m
from analysis.core.types import Array, Channels

STANDING_MPS = 0.5  # below it a bicycle stands or is pushed


@dataclass(frozen=True, slots=True)
class Covered:
    """Distance, None where nothing recorded tells it, and time in motion."""

    distance_m: float | None  # [m]
    time_s: float  # [s]


def covered(channels: Channels) -> Covered:
    """Distance and time in motion over a run's samples.

    The wheel's distance comes first, then its speed, then places. A step longer than a short gap is left out, and one
    below walking pace, too; where no channel tells motion, every step without a gap counts as time.

    Parameters
    ----------
    channels : Channels
        The run's samples [1].

    Returns
    -------
    Covered
        Distance [m] and time in motion [s].
    """
    step_s = np.diff(channels.time_s)
    whole = step_s <= SHORT_GAP_S
    metres = _steps_m(channels, step_s)
    if metres is None:
        return Covered(None, float(step_s[whole].sum()))
    moving = whole & np.isfinite(metres) & (metres >= STANDING_MPS * step_s)
    return Covered(float(metres[moving].sum()), float(step_s[moving].sum()))


def _steps_m(channels: Channels, step_s: Array) -> Array | None:
    """Metres from each sample to the next by the first channel that has them."""
    if channels.distance_m is not None:
        return np.diff(channels.distance_m)
    if channels.speed_mps is not None:
        return (channels.speed_mps[1:] + channels.speed_mps[:-1]) / 2.0 * step_s
    latitude, longitude = channels.latitude_rad, channels.longitude_rad
    if latitude is None or longitude is None:
        return None
    known = np.flatnonzero(np.isfinite(latitude) & np.isfinite(longitude))
    if not known.size:
        return None
    east, north = plane_m(latitude, longitude, (float(latitude[known[0]]), float(longitude[known[0]])))
    return np.hypot(np.diff(east), np.diff(north))

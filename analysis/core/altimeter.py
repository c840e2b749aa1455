"""Heights of the marks as the altimeter tells them. How they are weighed belongs to `balance` and `wholelegs`."""

from __future__ import annotations

import numpy as np

from analysis.core.samples import median_known
from analysis.core.stretches import Stretches
from analysis.core.types import Array

HEIGHT_FLOOR_M = 0.15  # an altimeter's mean over passes is trusted no better than this at one mark


def heights_by_altimeter(rows: Stretches, nodes: int, closed: bool) -> tuple[Array, Array]:
    """Heights of the marks as the altimeter tells them, and how far it is trusted.

    The mean step between two marks over passes in both directions is free of the altimeter's drift.

    Parameters
    ----------
    rows : Stretches
        Energy sums of all passages [1].
    nodes : int
        Number of different marks [1].
    closed : bool
        Whether the last mark is the first [1].

    Returns
    -------
    tuple of ndarray
        Heights and their standard deviations, shape (nodes,) [m].
    """
    place = rows.place.astype(int)
    steps, errors = np.zeros(nodes), np.full(nodes, np.nan)
    for k in range(nodes):
        seen = (rows.direction * rows.height_m)[(place == k) & np.isfinite(rows.height_m)]
        if seen.size >= 2:
            steps[k], errors[k] = median_known(seen), float(np.std(seen)) / np.sqrt(seen.size)
    needed = np.arange(nodes if closed else nodes - 1)
    seen_at = np.isfinite(errors[needed])
    drifted = 0.0
    if closed and np.sum(seen_at & ~np.roll(seen_at, 1)) == 1:  # runs of one lap end beside their start, not across it
        steps[~seen_at] = -steps[seen_at].sum() / np.sum(~seen_at)
        drifted = _drift_m(rows)
        needed = needed[seen_at]
    elif not seen_at.all():
        return np.zeros(nodes), np.full(nodes, 30.0)
    elif closed:
        steps -= steps.mean()
    heights = np.concatenate([[0.0], np.cumsum(steps[: nodes - 1])])
    spread = float(np.sqrt(np.mean(errors[needed] ** 2)))
    return heights, np.full(nodes, np.sqrt(HEIGHT_FLOOR_M**2 + (1.5 * spread) ** 2 + drifted**2))


def _drift_m(rows: Stretches) -> float:
    """Standard error of what the altimeter drifts in a lap, by how the laps of several runs differ."""
    own = np.isfinite(rows.height_m)
    run = rows.run[own].astype(int)
    metres = np.bincount(run, rows.length_m[own])
    climbed = np.bincount(run, (rows.direction * rows.height_m)[own])[metres > 0.9 * metres.max()]
    return float(np.std(climbed, ddof=1) / np.sqrt(climbed.size)) if climbed.size > 1 else 30.0

"""What ties the air of different minutes together: gusts, and a wind that wanders over the whole session.

Means of the air over legs or sectors come in order of time. What ties distant ones together has few dimensions, the
wind's two and one for each kind of gust, so that their covariance is factored piece by piece: the work grows with their
number and not with its cube. Which unknowns are read from them belongs to `airsensor`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from analysis.core.types import Array
from analysis.core.wandering import kept_by_mean

PIECE = 64  # means that are factored at once; a usual session is one piece


@dataclass(frozen=True, slots=True, eq=False)
class Gusts:
    """Air speed less ground speed about its mean: sensor noise, gust strength, gust time."""

    noise_mps: float
    sd_mps: float
    time_s: float

    def mean_covariance(self, begin_s: Array, end_s: Array) -> Array:
        """Covariance of block means of a gust that is forgotten exponentially.

        Returns
        -------
        array of shape (n, n) [m2/s2]
        """
        length = np.maximum(end_s - begin_s, 1e-3)
        apart = np.maximum(begin_s[:, None] - end_s[None, :], begin_s[None, :] - end_s[:, None])
        share = self.smoothed(begin_s, end_s)
        cross = share[:, None] * share[None, :] * self.kept(apart)
        cross[np.diag_indices(length.size)] = kept_by_mean(length / max(self.time_s, 1e-3))
        return np.asarray(self.sd_mps**2 * cross)

    def smoothed(self, begin_s: Array, end_s: Array) -> Array:
        """What the mean of each block keeps of a gust beside it."""
        tau, length = max(self.time_s, 1e-3), np.maximum(end_s - begin_s, 1e-3)
        return np.asarray((1.0 - np.exp(-length / tau)) * tau / length)

    def kept(self, apart_s: Array | float) -> Array:
        """What is left of a gust after so many seconds."""
        return np.exp(-np.maximum(apart_s, 0.0) / max(self.time_s, 1e-3))


@dataclass(frozen=True, slots=True, eq=False)
class Air:
    """Means of the air over n blocks in order of time, each seen from k sides (along the travel, from the left)."""

    begin_s: Array  # (n,)
    end_s: Array  # (n,)
    faces: Array  # (k, n, 2): the direction, east and north, in which each side looks
    gusts: tuple[Gusts, ...]  # (k,)
    white: Array  # (k, n): variances of what each mean has for itself [m2/s2]
    start: float  # variance of each component of the wind when the session begins [m2/s2]
    growth: Array  # (2, 2): of the wind's covariance, each second [m2/s3]

    def whitened(self, columns: Array) -> Array:
        """Columns (k, n, c) in units of the air's covariance: scalar products weigh with its inverse, (kn, c).

        References
        ----------
        Chandrasekaran et al. (2005), SIAM J. Matrix Anal. Appl. 27:341-364: sequentially semiseparable matrices.
        """
        wide, c, done = 2 + len(self.gusts), columns.shape[2], []
        tied, told = np.zeros((wide, wide)), np.zeros((wide, c))  # what earlier pieces say of the air now
        for first in range(0, self.begin_s.size, PIECE):
            piece = slice(first, first + PIECE)
            ahead, back, fade = self._ties(piece)
            low = np.linalg.cholesky(self._within(piece) - ahead @ tied @ ahead.T)
            rows = columns[:, piece].reshape(-1, c) - ahead @ told
            solved = solve_triangular(
                low, np.column_stack([rows, back - ahead @ (tied * fade)]), lower=True, check_finite=False
            )
            done.append(solved[:, :c])
            own = solved[:, c:]
            tied = fade[:, None] * tied * fade + own.T @ own
            told = fade[:, None] * told + own.T @ solved[:, :c]
        return np.concatenate(done)

    def _within(self, piece: slice) -> Array:
        """Covariance of the blocks of one piece, side by side."""
        begin, end = self.begin_s[piece], self.end_s[piece]
        n, k = begin.size, len(self.gusts)
        faces = self.faces[:, piece].reshape(-1, 2)
        since = np.tile(self._middle_s(piece), k)
        out = self.start * faces @ faces.T + np.minimum(since[:, None], since) * (faces @ self.growth @ faces.T)
        for side, (gusts, white) in enumerate(zip(self.gusts, self.white, strict=True)):
            own = slice(side * n, side * n + n)
            out[own, own] += gusts.mean_covariance(begin, end) + np.diag(white[piece])
        return out

    def _ties(self, piece: slice) -> tuple[Array, Array, Array]:
        """How the rows of a piece hang on what was before it, and what comes after on them; what fades meanwhile."""
        begin, end = self.begin_s[piece], self.end_s[piece]
        n, k = begin.size, len(self.gusts)
        after = float(self.begin_s[piece.stop] if piece.stop < self.begin_s.size else end[-1])
        ahead, back, fade = np.zeros((k * n, 2 + k)), np.zeros((k * n, 2 + k)), np.ones(2 + k)
        ahead[:, :2] = faces = self.faces[:, piece].reshape(-1, 2)
        back[:, :2] = self.start * faces + np.tile(self._middle_s(piece), k)[:, None] * (faces @ self.growth)
        for side, gusts in enumerate(self.gusts):
            own, share = slice(side * n, side * n + n), gusts.smoothed(begin, end)
            ahead[own, 2 + side] = share * gusts.kept(begin - begin[0])
            back[own, 2 + side] = gusts.sd_mps**2 * share * gusts.kept(after - end)
            fade[2 + side] = gusts.kept(after - begin[0])
        return ahead, back, fade

    def _middle_s(self, piece: slice) -> Array:
        """Middles of the blocks, from the session's first."""
        middle = 0.5 * (self.begin_s[piece] + self.end_s[piece])
        return np.asarray(middle - 0.5 * (self.begin_s[0] + self.end_s[0]))

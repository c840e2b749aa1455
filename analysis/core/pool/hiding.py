"""Whether half of everybody's results stays hidden behind all figures ever published.

The arms' values are the unknowns; a figure is a line of weights on them. A priori a rider's contrast has the variance
tau2 + median se2: departures that the rider's studies share and errors that they do not. `Hidden` conditions on the
figures (Gaussian, with their rounding) and, for every contributor in turn, on all values of any other one. It judges
the whole space of what a contributor measured, so that no mean or difference of their studies is told more than one of
them. Which figures are asked for, and where the lines are kept, is not decided here.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from analysis.core.pool.arms import Codes
from analysis.core.types import Array

HALF = 0.50
"""Share of the prior standard deviation that stays hidden of everybody."""

ROUNDING_M2 = 0.0001
"""Figures are published as whole multiples of it [m2]."""

MOST_NUMBERS = 40_000_000  # lines times arms that are kept in memory: 320 MB
FAR = 0.30  # told of all of a contributor's contrasts together: below, nobody comes near to half of one


@dataclass(frozen=True, slots=True, eq=False)
class Unknowns:
    """The arms of a category that are or ever were behind a figure, sorted by contributor; shape (n,).

    `contributor` counts from 0; `cell` is one number for the arms of one contributor and product.
    """

    contributor: Codes
    cell: Codes


def sorted_unknowns(contributor: Codes, cell: Codes) -> tuple[Unknowns, Codes]:
    """Unknowns in the order that `Hidden` wants.

    Parameters
    ----------
    contributor, cell : ndarray, shape (n,)
        Any whole numbers [1].

    Returns
    -------
    tuple of Unknowns and ndarray
        The unknowns, and where each of those given stands in them [1].
    """
    owner = np.unique(contributor, return_inverse=True)[1].astype(np.int64)
    order = np.argsort(owner, kind="stable")
    place = np.empty_like(order)
    place[order] = np.arange(order.size)
    return Unknowns(owner[order], np.unique(cell, return_inverse=True)[1].astype(np.int64)[order]), place


@dataclass(slots=True, eq=False)
class Hidden:
    """What is hidden so far. `lines` are the figures' weights, whitened by the prior and made orthonormal."""

    unknowns: Unknowns
    departure_m4: float  # variance of a departure, tau2 / 2
    error_m4: float  # median se2 of an arm
    lines: Array = field(init=False)
    told: Array = field(init=False)  # (contributors,) of all their contrasts together

    def __post_init__(self) -> None:
        owner = self.unknowns.contributor
        self.lines = np.empty((0, owner.size))
        self.told = np.zeros(int(owner.max(initial=-1)) + 1)

    def enter(self, weights: Array) -> None:
        """Count figures as published, whatever they tell.

        Parameters
        ----------
        weights : ndarray, shape (m, n)
            A line for every figure [1].
        """
        self._count(self._new(weights))

    def allows(self, weights: Array, spend: float) -> bool:
        """Count figures as published if half of everybody stays hidden then; otherwise nothing changes.

        Parameters
        ----------
        weights : ndarray, shape (m, n)
            A line for every figure [1].
        spend : float
            What these figures may tell of any one contributor, in contrasts [1].

        Returns
        -------
        bool
        """
        if (len(self.lines) + len(weights)) * self.unknowns.contributor.size > MOST_NUMBERS:
            return False
        lines, told = self.lines, self.told
        self._count(self._new(weights))
        if float((self.told - told).max(initial=0.0)) <= spend and self.least() >= HALF:
            return True
        self.restore((lines, told))
        return False

    def mark(self) -> tuple[Array, Array]:
        """How things stand, for `restore`."""
        return self.lines, self.told

    def restore(self, mark: tuple[Array, Array]) -> None:
        """Go back to a mark: what was allowed since is not published after all."""
        self.lines, self.told = mark

    def least(self) -> float:
        """The least share of a prior standard deviation that is left of anybody's contrast, whoever else attacks.

        Returns
        -------
        float
            Exact for riders of one contrast; below the truth for others, and 1 where nobody comes near to half [1].
        """
        near = np.flatnonzero(self.told > FAR)
        if not near.size:
            return 1.0
        ends = np.searchsorted(self.unknowns.contributor, np.arange(self.told.size + 1))
        blocks = {at: self.lines[:, ends[at] : ends[at + 1]] for at in near}
        most = self.told.copy()  # of any one contrast, at most
        for at, own in blocks.items():
            most[at] = np.linalg.eigvalsh(own.T @ own)[-1]
        room = np.maximum(1.0 - most, 1e-12)
        left = 1.0
        for at, own in blocks.items():
            shared = np.add.reduceat(((own.T @ self.lines) ** 2).sum(axis=0), ends[:-1])
            shared[at] = 0.0
            left = min(left, 1.0 - most[at] - float((shared / room).max()))
        return float(np.sqrt(max(left, 0.0)))

    def _new(self, weights: Array) -> Array:
        """What new figures tell that the old ones do not, orthonormal."""
        white = self._whitened(weights)
        known = white @ self.lines.T
        # rounding is noise of the figure itself: it is in its square and not in its line
        square = white @ white.T - known @ known.T + ROUNDING_M2**2 / 12.0 * np.eye(len(white))
        return np.asarray(np.linalg.solve(np.linalg.cholesky(square), white - known @ self.lines))

    def _whitened(self, weights: Array) -> Array:
        """Lines times the root of the prior covariance: arms of a cell share a departure."""
        cell = self.unknowns.cell
        size = np.bincount(cell)
        sums = np.array([np.bincount(cell, line, size.size) for line in weights]).reshape(len(weights), size.size)
        root = np.sqrt(self.error_m4)
        mean = (np.sqrt(self.error_m4 + size * self.departure_m4) - root) * sums / np.maximum(size, 1)
        return np.asarray(root * weights + mean[:, cell])

    def _count(self, new: Array) -> None:
        self.lines = np.vstack([self.lines, new])
        self.told = self.told + np.bincount(self.unknowns.contributor, (new**2).sum(axis=0), self.told.size)

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
from numpy.typing import NDArray

from analysis.core.arrays import Array
from analysis.core.pool.arms import Codes

HALF = 0.50
"""Share of the prior standard deviation that stays hidden of everybody."""

JUDGED = 0.56
"""The share that is asked for here: tau and with it the prior are estimates, and an attacker may know them better."""

CAREFUL = 0.70
"""The share for riders who were counted: which side they are on is told of them beside, though of no one alone."""

ROUNDING_M2 = 0.0001
"""Figures are published as whole multiples of it [m2]."""

MOST_NUMBERS = 40_000_000  # lines times arms that are kept in memory: 160 MB
FAR = 0.30  # told of all of a contributor's contrasts together: below, nobody comes near to half of one


@dataclass(frozen=True, slots=True, eq=False)
class Unknowns:
    """The arms of a category that are or ever were behind a figure, sorted by contributor; shape (n,).

    `contributor` counts from 0; `cell` is one number for the arms of one contributor and product.
    """

    contributor: Codes
    cell: Codes


def departure_of(tau_m2: float, error_m4: float) -> float:
    """Prior variance of a departure: of an estimated tau, which may be zero by chance, half the error's at least.

    Parameters
    ----------
    tau_m2 : float
        Of the category [m2].
    error_m4 : float
        Median squared error of an arm [m4].

    Returns
    -------
    float
        Variance [m4].
    """
    return max(tau_m2**2, error_m4) / 2.0


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
    """What is hidden so far."""

    unknowns: Unknowns
    departure_m4: float  # variance of a departure, tau2 / 2
    error_m4: float  # median se2 of an arm
    counted: Codes = field(default_factory=lambda: np.empty(0, np.int64))  # contributors who were counted ever
    told: Array = field(init=False)  # (contributors,) of all their contrasts together
    count: int = field(init=False, default=0)
    kept: NDArray[np.float32] = field(init=False)  # room for lines; their rounding leaves far more digits than float32

    def __post_init__(self) -> None:
        owner = self.unknowns.contributor
        self.kept = np.empty((64, owner.size), np.float32)
        self.told = np.zeros(int(owner.max(initial=-1)) + 1)

    def enter(self, weights: Array) -> None:
        """Count figures as published, whatever they tell.

        Parameters
        ----------
        weights : ndarray, shape (m, n)
            A line for every figure [1].
        """
        self._count(self._new(weights))

    def allows(self, weights: Array, spend: float, *, leave: float = JUDGED, of: Codes | None = None) -> bool:
        """Count figures as published if half of everybody stays hidden then; otherwise nothing changes.

        Parameters
        ----------
        weights : ndarray, shape (m, n)
            A line for every figure [1].
        spend : float
            What these figures may tell of any one contributor, in contrasts [1].
        leave : float
            Share of a prior standard deviation that must be left of those named in `of` [1].
        of : ndarray, optional
            Contributors; of everybody `JUDGED` must be left anyway, and `CAREFUL` of whom was counted [1].

        Returns
        -------
        bool
        """
        if (self.count + len(weights)) * self.unknowns.contributor.size > MOST_NUMBERS:
            return False
        mark, told = self.mark(), self.told
        self._count(self._new(weights))
        if float((self.told - told).max(initial=0.0)) <= spend and self._keeps(leave, of):
            return True
        self.restore(mark)
        return False

    @property
    def lines(self) -> NDArray[np.float32]:
        """Figures' weights, whitened by the prior and made orthonormal."""
        return self.kept[: self.count]

    def mark(self) -> tuple[int, Array]:
        """How things stand, for `restore`."""
        return self.count, self.told

    def restore(self, mark: tuple[int, Array]) -> None:
        """Go back to a mark: what was allowed since is not published after all."""
        self.count, self.told = mark

    def _keeps(self, leave: float, of: Codes | None) -> bool:
        if self.least() < JUDGED or self.least(self.counted, enough=CAREFUL) < CAREFUL:
            return False
        return of is None or self.least(of, enough=leave) >= leave

    def least(self, of: Codes | None = None, *, enough: float = JUDGED) -> float:
        """The least share of a prior standard deviation that is left of anybody's contrast, whoever else attacks.

        Parameters
        ----------
        of : ndarray, optional
            Contributors who are looked at; all of them without it [1].
        enough : float
            Share near which it is exact [1].

        Returns
        -------
        float
            Near to `enough` exact for riders of one contrast, below the truth for others; above it a lower bound [1].
        """
        near = np.flatnonzero(self.told > FAR * (1.0 - enough**2) / (1.0 - JUDGED**2))
        near = near if of is None else np.intersect1d(near, of)
        if not near.size:
            return 1.0
        ends = np.searchsorted(self.unknowns.contributor, np.arange(self.told.size + 1))
        blocks = {at: self.lines[:, ends[at] : ends[at + 1]] for at in near}
        most = self.told.copy()  # of any one contrast, at most
        for at, own in blocks.items():
            most[at] = np.linalg.eigvalsh(own.T @ own)[-1]
        room = np.maximum(1.0 - most, 1e-12)
        # whatever another knows takes at most told x most / room: whom that leaves more than half is not looked at
        bound = 1.0 - most[near] - self.told[near] * float((most / room).max())
        left = float(bound.min(initial=1.0, where=bound > enough**2))
        for at in near[bound <= enough**2]:
            own = blocks[at]
            shared = np.add.reduceat(((own.T @ self.lines) ** 2).sum(axis=0), ends[:-1])
            shared[at] = 0.0
            left = min(left, 1.0 - most[at] - float((shared / room).max()))
        return float(np.sqrt(max(left, 0.0)))

    def _new(self, weights: Array) -> Array:
        """What new figures tell that the old ones do not, orthonormal."""
        white = self._whitened(weights)
        known = (white.astype(np.float32) @ self.lines.T).astype(np.float64)
        # rounding is noise of the figure itself: it is in its square and not in its line
        square = white @ white.T - known @ known.T + ROUNDING_M2**2 / 12.0 * np.eye(len(white))
        rest = white - known.astype(np.float32) @ self.lines
        return np.asarray(np.linalg.inv(np.linalg.cholesky(square)) @ rest)

    def _whitened(self, weights: Array) -> Array:
        """Lines times the root of the prior covariance: arms of a cell share a departure."""
        cell = self.unknowns.cell
        size = np.bincount(cell)
        sums = np.array([np.bincount(cell, line, size.size) for line in weights]).reshape(len(weights), size.size)
        root = np.sqrt(self.error_m4)
        mean = (np.sqrt(self.error_m4 + size * self.departure_m4) - root) * sums / np.maximum(size, 1)
        return np.asarray(root * weights + mean[:, cell])

    def _count(self, new: Array) -> None:
        if self.count + len(new) > len(self.kept):
            more = np.empty((max(self.count, len(new)), self.kept.shape[1]), np.float32)
            self.kept = np.vstack([self.lines, more])
        self.kept[self.count : self.count + len(new)] = new
        self.count += len(new)
        self.told = self.told + np.bincount(self.unknowns.contributor, (new**2).sum(axis=0), self.told.size)

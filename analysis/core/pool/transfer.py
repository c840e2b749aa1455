"""Does a difference transfer: whether it changes with the rider's height, speed, yaw or kind of bike.

The difference of two products in the studies that tested both, regressed on moderators. Weights are those of the arm
model: errors of the two arms, and the rider's own departure, N(0, tau2), which all studies of that rider share. Who may
see a slope is not decided here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit

from analysis.core.arrays import Array
from analysis.core.pool.arms import Arms, Codes
from analysis.core.pool.fit import Solved, reml

RIDERS_PER_MODERATOR = 10
RIDERS_PER_KIND = 3
TOO_FEW = "{found} riders tell it; a slope needs at least {needed}"
ONE_SIDED = "one of the two has fewer than 3 riders"
ALIKE = "it hardly differs between those who tested both, so that no slope can be told"


@dataclass(frozen=True, slots=True, eq=False)
class Contrasts:
    """Differences, product less reference, of the studies that tested both; arrays of shape (n,)."""

    rider: Codes
    study: Codes
    value_m2: Array
    variance_m4: Array
    rows: tuple[Codes, Codes]  # of the arms: the product's and the reference's

    def take(self, chosen: NDArray[np.bool_]) -> Contrasts:
        """Only these."""
        rows = self.rows[0][chosen], self.rows[1][chosen]
        return Contrasts(self.rider[chosen], self.study[chosen], self.value_m2[chosen], self.variance_m4[chosen], rows)


@dataclass(frozen=True, slots=True, eq=False)
class Regression:
    """A difference and how it changes; arrays over the intercept and then the moderators, (1 + m,)."""

    coefficients: Array  # the difference where all moderators are 0, then a slope each
    se: Array  # with Knapp and Hartung's factor
    ci95: Array  # (1 + m, 2)
    p_value: Array
    covariance: Array  # (1 + m, 1 + m) of the model, without the factor
    tau2: float  # that the moderators leave
    tau2_dl: float
    explained: float | None  # share of tau2 that the moderators take away; None where there is none to take
    q: float  # at tau2 = 0
    q_df: int
    df: int  # of Student's t: riders less coefficients
    factor: float
    riders: int
    studies: int


@dataclass(frozen=True, slots=True)
class Untold:
    """Why there is no slope."""

    reason: str


def contrasts_of(arms: Arms, product: int, reference: int) -> Contrasts:
    """Differences of two products in the studies that tested both.

    Parameters
    ----------
    arms : Arms
    product, reference : int
        Codes [1].

    Returns
    -------
    Contrasts
        Product less reference, by study [m2].
    """
    ours, theirs = np.flatnonzero(arms.product == product), np.flatnonzero(arms.product == reference)
    studies, one, other = np.intersect1d(arms.study[ours], arms.study[theirs], return_indices=True)
    rows = ours[one], theirs[other]
    value = arms.value_m2[rows[0]] - arms.value_m2[rows[1]]
    variance = arms.se_m2[rows[0]] ** 2 + arms.se_m2[rows[1]] ** 2
    return Contrasts(arms.rider[rows[0]], studies, value, variance, rows)


def kinds_as_columns(kinds: Sequence[str], rider: Codes) -> tuple[tuple[str, ...], Array]:
    """A column of 0 and 1 for each kind but the commonest, NaN where so few riders have a kind that it tells nothing.

    Parameters
    ----------
    kinds : sequence of str
        Of each study [1].
    rider : ndarray, shape (n,)
        Its rider [1].

    Returns
    -------
    tuple of tuple of str and ndarray, shape (n, m)
        The kinds, the first of them the one without a column; and the columns [1].
    """
    names, code = np.unique(np.asarray(kinds, np.str_), return_inverse=True)
    riders = np.array([np.unique(rider[code == at]).size for at in range(names.size)], np.int64)
    order = np.argsort(-riders, kind="stable")
    told = order[riders[order] >= RIDERS_PER_KIND]
    columns = (code[:, None] == told[1:]).astype(np.float64)
    columns[~np.isin(code, told)] = np.nan
    return tuple(str(names[at]) for at in told), columns


def regress(contrasts: Contrasts, moderators: Array, *, tau2: float | None = None) -> Regression | Untold:
    """How a difference changes with moderators: a mixed-effects meta-regression, its tau2 estimated anew by REML.

    Studies with a moderator that is not known (NaN) are left out.

    Parameters
    ----------
    contrasts : Contrasts
        Of n studies [m2].
    moderators : ndarray, shape (n, m)
        A column each [any unit].
    tau2 : float, optional
        Taken instead of an estimate [m4].

    Returns
    -------
    Regression or Untold
        Slopes [m2 per unit of the moderator], or why there are none.

    References
    ----------
    Berkey, Hoaglin, Mosteller & Colditz (1995), Stat. Med. 14:395-411; Knapp & Hartung (2003), Stat. Med. 22:2693-2710;
    ten riders for each moderator: Cochrane Handbook for Systematic Reviews of Interventions, section 10.11.5.
    """
    known = np.asarray(np.isfinite(moderators).all(axis=1))
    told, x = contrasts.take(known), moderators[known]
    reason = untold(told.rider, x)
    if reason is not None:
        return reason
    centre = x.mean(axis=0)
    design = np.column_stack([np.ones(len(x)), x - centre])
    equations = _Equations.of(told, design)
    zero = equations.at(0.0)
    best = equations.at(tau2) if tau2 is not None else equations.likeliest(zero)
    return _told(told, centre, best, zero)


def untold(rider: Codes, x: Array) -> Untold | None:
    """Why these riders cannot tell a slope, if so; a function of who they are and never of what they measured.

    Parameters
    ----------
    rider : ndarray, shape (n,)
        Of each study [1].
    x : ndarray, shape (n, m)
        Moderators, all known [any unit].

    Returns
    -------
    Untold or None
    """
    riders, needed = np.unique(rider).size, RIDERS_PER_MODERATOR * max(1, x.shape[1])
    if riders < needed:
        return Untold(TOO_FEW.format(found=riders, needed=needed))
    design = np.column_stack([np.ones(len(x)), x - x.mean(axis=0)])
    scaled = design / np.maximum(np.abs(design).max(axis=0), 1e-300)
    if x.shape[1] == 0 or np.linalg.matrix_rank(scaled, tol=1e-9) < design.shape[1]:
        return Untold(ALIKE)
    return Untold(ONE_SIDED) if any(_one_sided(rider, column) for column in x.T) else None


def _one_sided(rider: Codes, column: Array) -> bool:
    """Whether one of only two values is that of very few riders."""
    values = np.unique(column)
    return values.size == 2 and any(np.unique(rider[column == one]).size < RIDERS_PER_KIND for one in values)


def _explained(told: Contrasts, left: float) -> float | None:
    """Share of the tau2 of the same studies without moderators."""
    plain = _Equations.of(told, np.ones((told.study.size, 1)))
    whole = plain.likeliest(plain.at(0.0)).tau2
    return max(0.0, 1.0 - left / whole) if whole > 0.0 else None


def _told(told: Contrasts, centre: Array, best: Solved, zero: Solved) -> Regression:
    size, studies, riders = best.effects.size, told.study.size, np.unique(told.rider).size
    back = np.eye(size)  # from the difference at the mean of the moderators to that at 0
    back[0, 1:] = -centre
    covariance, coefficients = back @ best.covariance @ back.T, back @ best.effects
    df, q_df = riders - size, studies - size
    factor = max(1.0, best.q / q_df)
    se = np.sqrt(np.diag(covariance) * factor)
    half = float(stdtrit(df, 0.975)) * se
    return Regression(
        coefficients,
        se,
        np.column_stack([coefficients - half, coefficients + half]),
        2.0 * stdtr(df, -np.abs(coefficients / se)),
        covariance,
        best.tau2,
        _moments(zero, q_df),
        _explained(told, best.tau2),
        zero.q,
        q_df,
        df,
        factor,
        riders,
        studies,
    )


def _moments(zero: Solved, q_df: int) -> float:
    """DerSimonian and Laird's estimate, for riders who come again too."""
    return max(0.0, (zero.q - q_df) / zero.expected)


@dataclass(frozen=True, slots=True, eq=False)
class _Equations:
    """Generalised least squares with V = errors + tau2 ZZ', Z spreading riders over studies."""

    y: Array  # (n,)
    design: Array  # (n, p)
    precision: Array  # (n,) without departures
    rider: Codes  # (n,) counted from 0

    @classmethod
    def of(cls, told: Contrasts, design: Array) -> _Equations:
        rider = np.unique(told.rider, return_inverse=True)[1].astype(np.int64)
        return cls(told.value_m2, design, 1.0 / told.variance_m4, rider)

    def by_rider(self, columns: Array) -> Array:
        """Z' of columns (n, k)."""
        return np.column_stack([np.bincount(self.rider, column) for column in columns.T])

    def weigh(self, columns: Array, tau2: float) -> Array:
        """V^-1 of columns (n, k), by Woodbury's identity."""
        light = self.precision[:, None] * columns
        inside = np.bincount(self.rider, self.precision)
        damped = (tau2 / (1.0 + tau2 * inside))[:, None] * self.by_rider(light)
        return np.asarray(light - self.precision[:, None] * damped[self.rider])

    def likeliest(self, zero: Solved) -> Solved:
        """At the REML estimate of tau2."""
        start = _moments(zero, self.y.size - self.design.shape[1])
        return reml(self.at, zero, start, look=True)

    def at(self, tau2: float) -> Solved:
        """Coefficients and both sides of the REML equation y'P S P y = tr(P S), S = ZZ'."""
        heavy = self.weigh(self.design, tau2)
        covariance = np.asarray(np.linalg.inv(self.design.T @ heavy))
        effects = covariance @ (heavy.T @ self.y)
        left = (self.y - self.design @ effects)[:, None]
        p_y = self.weigh(left, tau2)
        inside = np.bincount(self.rider, self.precision)
        spread = self.by_rider(heavy)
        expected = float((inside / (1.0 + tau2 * inside)).sum() - np.trace(covariance @ (spread.T @ spread)))
        squares = float((self.by_rider(p_y) ** 2).sum())
        return Solved(tau2, effects, covariance, float((left * p_y).sum()), squares, max(0.0, expected))


def slope_weights(contrasts: Contrasts, moderators: Array, tau2: float) -> Array:
    """What each difference weighs in each slope: the linear form of `regress` at a given tau2.

    Parameters
    ----------
    contrasts : Contrasts
        Of n studies, none with an unknown moderator [m2].
    moderators : ndarray, shape (n, m)
        A column each [any unit].
    tau2 : float
        Variance of a difference between riders [m4].

    Returns
    -------
    ndarray, shape (m, n)
        Weights [1/unit of the moderator].
    """
    design = np.column_stack([np.ones(len(moderators)), moderators - moderators.mean(axis=0)])
    heavy = _Equations.of(contrasts, design).weigh(design, tau2)
    return np.asarray(np.linalg.solve(design.T @ heavy, heavy.T)[1:])

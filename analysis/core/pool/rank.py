"""Which product is fastest: probability of the smallest effect, and the rank score."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr, ndtri

from analysis.core.arrays import Array

POINTS, NUMBERS = 1 << 16, 1 << 22  # points of the normal integral, and points times products at most
HOPELESS = 7.0  # standard errors behind the leader beyond which a product is never fastest
ROUND_OFF = 1e-12  # of a variance, what the last bits may make of zero


def rank_score(effects: Array, covariance: Array) -> Array:
    """P-score: mean over the others of the probability of the smaller effect.

    Parameters
    ----------
    effects : ndarray, shape (p,)
        Against any one reference [m2].
    covariance : ndarray, shape (p, p)
        Of the effects [m4].

    Returns
    -------
    ndarray, shape (p,)
        Scores from 0 to 1 [1].

    References
    ----------
    Ruecker & Schwarzer (2015), BMC Med. Res. Methodol. 15:58.
    """
    variance = np.diag(covariance)
    error = np.sqrt(np.maximum(variance[:, None] + variance - 2.0 * covariance, 0.0))
    np.fill_diagonal(error, 1.0)
    better = ndtr((effects[None, :] - effects[:, None]) / error)
    np.fill_diagonal(better, 0.0)
    return np.asarray(better.sum(axis=1) / max(1, effects.size - 1))


def probability_of_smallest(effects: Array, covariance: Array) -> Array:
    """Chance of each product to have the smallest effect, under the joint normal.

    Products are taken in the order of their estimates and against their leader, so that neither names nor the choice
    of reference matter; the integral is a fixed lattice of points, so that the same network gives the same figures.

    Parameters
    ----------
    effects : ndarray, shape (p,)
        Against any one reference [m2].
    covariance : ndarray, shape (p, p)
        Of the effects [m4].

    Returns
    -------
    ndarray, shape (p,)
        Probabilities that add to 1 [1].

    References
    ----------
    Genz & Bretz (2009), Computation of Multivariate Normal and t Probabilities, section 4.2 (Richtmyer's lattice).
    """
    order = np.argsort(effects, kind="stable")
    lead = order[0]
    behind = effects - effects[lead]
    joint = covariance - covariance[lead] - covariance[:, [lead]] + covariance[lead, lead]
    error = np.sqrt(np.maximum(np.diag(joint), 0.0))
    others = order[1:][behind[order[1:]] <= HOPELESS * error[order[1:]]]
    out = np.zeros(effects.size)
    if others.size <= 1:
        out[others] = ndtr(-behind[others] / np.where(error[others] > 0.0, error[others], 1.0))
        out[lead] = 1.0 - out.sum()
        return out
    scale = np.where(error[others] > 0.0, error[others], 1.0)
    inner = joint[np.ix_(others, others)] / np.outer(scale, scale)  # errors of very different size keep their digits
    root = scale[:, None] * np.linalg.cholesky(inner + np.eye(others.size) * ROUND_OFF)
    points = min(POINTS, NUMBERS // others.size)
    wins = np.zeros(others.size + 1)
    step = np.sqrt(_primes(others.size)) % 1.0
    for start in range(0, points, 1 << 12):
        number = np.arange(start, min(points, start + (1 << 12)))[:, None] + 1.0
        uniform = np.abs(2.0 * ((number * step) % 1.0) - 1.0)
        normal = ndtri(np.clip(uniform, 1e-15, 1.0 - 1e-15)) @ root.T
        for sign in (1.0, -1.0):
            draws = behind[others] + sign * normal
            fastest = np.where(draws.min(axis=1) < 0.0, draws.argmin(axis=1) + 1, 0)
            wins += np.bincount(fastest, minlength=wins.size)
    out[np.r_[lead, others]] = wins / wins.sum()
    return out


def _primes(count: int) -> Array:
    found: list[int] = []
    number = 2
    while len(found) < count:
        if all(number % prime for prime in found if prime * prime <= number):
            found.append(number)
        number += 1
    return np.array(found, np.float64)

"""What every arm weighs in figures of a network: the linear form of pooling, for those who must know what a figure
gives away. Effects themselves are solved in `fit`."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csc_array, diags_array
from scipy.sparse.linalg import splu

from analysis.core.arrays import Array
from analysis.core.pool.arms import Arms


def arm_weights(arms: Arms, tau2: float, combinations: Array) -> Array:
    """Weights of the arms' values in combinations of the equations' right side.

    With V the covariance of arms (errors, and departures that a rider's studies share) and the levels of studies
    eliminated, P = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1, the right side is B'P y: a combination c of it weighs P B c.

    Parameters
    ----------
    arms : Arms
        Of studies with several arms.
    tau2 : float
        Variance of a contrast between riders [m4].
    combinations : ndarray, shape (m, products)
        A line for every figure, such as a contrast of the inverse of the equations' left side [m4].

    Returns
    -------
    ndarray, shape (m, n)
        Weights, which add to zero in every study [1].
    """
    _, study = np.unique(arms.study, return_inverse=True)
    _, cell = np.unique(arms.rider * len(arms.products) + arms.product, return_inverse=True)
    precision = 1.0 / arms.se_m2**2
    wanted = combinations[:, arms.product].T
    row = np.arange(study.size)
    level = csc_array((np.ones(row.size), (row, study)))
    shared = csc_array((precision, (row, cell)))
    inside = np.bincount(cell, precision)
    damped = tau2 / (2.0 + tau2 * inside)  # of (2 / tau2 + Z'S^-1 Z)^-1, fit for tau2 = 0

    own, damping = diags_array(precision), diags_array(damped)
    levels = own @ level - shared @ (damping @ (shared.T @ level))  # V^-1 X, by Woodbury's identity
    half = own @ wanted - shared @ (damping @ (shared.T @ wanted))
    left = splu(csc_array(level.T @ levels))
    rest = half - levels @ left.solve(np.asarray(level.T @ half))
    return np.ascontiguousarray(rest.T)

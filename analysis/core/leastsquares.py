"""Linear least squares with priors, by orthogonal triangulation: for every system of observations of one session.

What the rows are and how they are weighted belongs to the systems themselves (`balance`, `joint`, `wholelegs`,
`alignment`): they come here in units of their noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from analysis.core.types import Array

LEAST_LEFT = 1e-9  # share of the information on any combination of unknowns that must be left


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """Unknowns and how well they are known, where rows are in units of their noise."""

    theta: Array  # (p,)
    root: Array  # (p, p): the covariance is root @ root.T
    squares: float  # sum of squared residuals, those against the priors too
    log_information: float  # logarithm of the determinant of the information matrix

    @property
    def covariance(self) -> Array:
        return np.asarray(self.root @ self.root.T)


def solve(
    design: Array, observed: Array, mean: Array | None = None, sd: Array | None = None, removed: Array | None = None
) -> Solution:
    """Unknowns that fit the observations best, together with what was believed of them before.

    Parameters
    ----------
    design : ndarray, shape (n, p)
        Rows over the unknowns, in units of each observation's noise [1].
    observed : ndarray, shape (n,)
        Observations in the same units [1].
    mean : ndarray, shape (p,), optional
        Means of independent normal priors, zero where absent [unit of the unknown].
    sd : ndarray, shape (p,), optional
        Their standard deviations, infinite for none [unit of the unknown].
    removed : ndarray, shape (p, p), optional
        Information that is none: what noise in the design adds to the square of it. Left in where the rest
        could not stand without it [1 per squared unit of the unknown].

    Returns
    -------
    Solution
        Unknowns [unit of the unknown].

    References
    ----------
    Golub (1965), Numer. Math. 7:206-216: triangulation of the design beside the observations, no normal equations.
    """
    p = design.shape[1]
    rows = np.column_stack([design, observed])
    if sd is not None:
        rows = np.vstack([rows, _believed(np.zeros(p) if mean is None else mean, sd)])
    triangle: Array = np.asarray(np.linalg.qr(rows, mode="r"))
    upper, turned = triangle[:p, :p], triangle[:p, p]
    root = solve_triangular(upper, np.eye(p), check_finite=False)
    squares = float(triangle[p, p] ** 2) if triangle.shape[0] > p else 0.0
    information = 2.0 * float(np.sum(np.log(np.abs(np.diag(upper)))))
    if removed is not None:
        left = np.eye(p) - root.T @ removed @ root
        if float(np.linalg.eigvalsh(left)[0]) > LEAST_LEFT:
            low = np.linalg.cholesky(left)
            root = solve_triangular(low, root.T, lower=True, check_finite=False).T
            turned = solve_triangular(low, turned, lower=True, check_finite=False)
            information += 2.0 * float(np.sum(np.log(np.diag(low))))
    return Solution(root @ turned, root, squares, information)


def solve_each(rows: Array, sd: Array) -> list[Solution]:
    """The same for several systems at once that share their priors, which have no mean: small ones cost what one does.

    Parameters
    ----------
    rows : ndarray, shape (k, n, p + 1)
        For each system the design, and the observations in its last column, in units of their noise [1].
    sd : ndarray, shape (p,)
        Standard deviations of the priors about zero [unit of the unknown].

    Returns
    -------
    list of Solution
        Unknowns of each system [unit of the unknown].
    """
    p = sd.size
    believed = np.broadcast_to(_believed(np.zeros(p), sd), (rows.shape[0], p, p + 1))
    triangle: Array = np.asarray(np.linalg.qr(np.concatenate([rows, believed], axis=1), mode="r"))
    upper = triangle[:, :p, :p]
    root = np.linalg.inv(upper)  # of a triangle: pivots stay where they are
    theta = (root @ triangle[:, :p, p:])[:, :, 0]
    information = 2.0 * np.sum(np.log(np.abs(np.diagonal(upper, axis1=1, axis2=2))), axis=1)
    squares = triangle[:, p, p] ** 2
    return [
        Solution(t, r, s, i) for t, r, s, i in zip(theta, root, squares.tolist(), information.tolist(), strict=True)
    ]


def _believed(mean: Array, sd: Array) -> Array:
    """Priors as rows beside the observations."""
    return np.column_stack([np.diag(1.0 / sd), mean / sd])

"""Uncertainty through a model, to first order. Which quantities are uncertain, and by how much, is said elsewhere."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.core.arguments import positive
from analysis.core.types import Array


@dataclass(frozen=True, slots=True, eq=False)
class Propagated:
    """Standard uncertainties of the results, their correlation, and what each input contributes."""

    uncertainty: Array  # (results,)
    correlation: Array  # (results, results)
    contributions: Array  # (results, inputs) sensitivity times uncertainty, signed


def propagate(sensitivities: Array, uncertainties: Array, correlation: Array | None = None) -> Propagated:
    """Law of propagation of uncertainty, for one result or several.

    Parameters
    ----------
    sensitivities : ndarray, shape (inputs,) or (results, inputs)
        Derivatives of the results by the inputs [unit of result per unit of input].
    uncertainties : ndarray, shape (inputs,)
        Standard uncertainties of the inputs [unit of input].
    correlation : ndarray, shape (inputs, inputs), optional
        Correlation coefficients; uncorrelated where absent [1].

    Returns
    -------
    Propagated
        Standard uncertainties of the results [unit of result].

    Raises
    ------
    ValueError
        A matrix that cannot be one of correlations.

    References
    ----------
    JCGM 100:2008, eqs. 13 and 16; for several results JCGM 102:2011, 6.2.1.
    """
    contributions = np.atleast_2d(np.asarray(sensitivities, dtype=np.float64)) * uncertainties
    related = np.eye(contributions.shape[1]) if correlation is None else _correlation(correlation)
    covariance = contributions @ related @ contributions.T  # eq. 16
    uncertainty = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    scale = np.where(uncertainty > 0, uncertainty, 1.0)
    return Propagated(uncertainty, covariance / np.outer(scale, scale), contributions)


def sensitivities(model: Callable[[Array], Array], inputs: Array, uncertainties: Array) -> Array:
    """Derivatives of a model by its inputs, over the range that each input is uncertain by.

    Parameters
    ----------
    model : callable
        Results of shape (results,) for inputs of shape (inputs,).
    inputs : ndarray, shape (inputs,)
        Best estimates [unit of input].
    uncertainties : ndarray, shape (inputs,)
        Standard uncertainties, above 0 [unit of input].

    Returns
    -------
    ndarray, shape (results, inputs)
        Sensitivity coefficients [unit of result per unit of input].

    References
    ----------
    JCGM 100:2008, 5.1.3 note 2: half the change of the result from x - u to x + u.
    """
    step = positive("uncertainties", uncertainties)
    moves = np.diag(step)
    columns = [(np.atleast_1d(model(inputs + m)) - np.atleast_1d(model(inputs - m))) / 2 for m in moves]
    return np.stack(columns, axis=1) / step


def effective_degrees_of_freedom(contributions: Array, degrees: Array) -> float:
    """Degrees of freedom of a combined uncertainty.

    Parameters
    ----------
    contributions : ndarray, shape (n,)
        Sensitivity times standard uncertainty of each independent input [unit of result].
    degrees : ndarray, shape (n,)
        Degrees of freedom of each, infinite where known [1].

    Returns
    -------
    float
        Effective degrees of freedom, infinite where all are known [1].

    References
    ----------
    Welch (1947) and Satterthwaite (1946); JCGM 100:2008, eq. G.2b.
    """
    squares = np.asarray(contributions, dtype=np.float64) ** 2
    spread = float(np.sum(squares**2 / _degrees(degrees)))
    return float(np.sum(squares)) ** 2 / spread if spread > 0 else float("inf")


def _correlation(matrix: Array) -> Array:
    related = np.asarray(matrix, dtype=np.float64)
    if (
        not np.allclose(related, related.T)
        or not np.allclose(np.diag(related), 1.0)
        or np.any(np.abs(related) > 1 + 1e-9)
    ):
        raise ValueError("correlation must be symmetric, with ones on its diagonal and no value beyond -1 to 1")
    if np.linalg.eigvalsh(related).min() < -1e-9:
        raise ValueError("correlation must not have a negative eigenvalue: these coefficients contradict each other")
    return related


def _degrees(degrees: Array) -> Array:
    array = np.asarray(degrees, dtype=np.float64)
    if not np.all(array > 0):
        raise ValueError(f"degrees of freedom must be above 0; got {float(array[~(array > 0)].flat[0]):g}")
    return array

"""From a session's differences to errors of arms. What arms are pooled with is elsewhere."""

from __future__ import annotations

import numpy as np

from analysis.core.arrays import Array


def arm_errors(u_m2: Array, reference_runs: int, runs: Array) -> tuple[float, Array]:
    """Errors of arms whose squares add up, reference and changed, to the variance of each difference.

    The reference's share is the least that its number of runs gives it in any of them.

    Parameters
    ----------
    u_m2 : ndarray, shape (k,)
        Standard uncertainty of every setup's difference to the reference [m2].
    reference_runs : int
        Runs of the reference [1].
    runs : ndarray, shape (k,)
        Runs of every changed setup [1].

    Returns
    -------
    tuple of float and ndarray
        Error of the reference's arm and of the others [m2].
    """
    variance = u_m2**2
    own = float((variance * runs / (reference_runs + runs)).min())  # of 1/n0 + 1/n the reference has 1/n0
    return float(np.sqrt(own)), np.asarray(np.sqrt(variance - own))

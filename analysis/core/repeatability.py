"""How well a studio repeats a run, from its earlier sessions: what a session takes as its `repeatability`.

How a session weighs it against its own runs belongs to `joint`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import fdtri

from analysis.core.types import Array, Repeatability, SessionResult


@dataclass(frozen=True, slots=True)
class MostScattered:
    """The cell that scatters most, and whether chance explains it."""

    cell: int  # index among the cells given
    share: float  # Cochran's C: its variance over the sum of all
    critical: float  # beyond it chance explains the share in one collection of a hundred only


def pooled(cells: Sequence[Array]) -> Repeatability | None:
    """Standard deviation of one run under unchanged conditions, pooled over cells.

    Parameters
    ----------
    cells : sequence of ndarray
        Drag areas of the runs of one setup within one session, one array of shape (n_i,) each [m2].

    Returns
    -------
    Repeatability or None
        s_r and its degrees of freedom; None where no cell holds two runs, or none of them differ [m2].

    References
    ----------
    ISO 5725-2:2019, clause 7: s_r^2 = sum (n_i - 1) s_i^2 / sum (n_i - 1).
    """
    spare = np.array([max(cell.size - 1, 0) for cell in cells])
    variance = np.array([np.var(cell, ddof=1) if cell.size > 1 else 0.0 for cell in cells])
    if not np.any(spare * variance > 0.0):
        return None
    return Repeatability(float(np.sqrt(spare @ variance / spare.sum())), float(spare.sum()))


def most_scattered(cells: Sequence[Array]) -> MostScattered | None:
    """Cochran's test on the cells with the most usual number of runs, at 1 %.

    Parameters
    ----------
    cells : sequence of ndarray
        Drag areas of the runs of one setup within one session, one array of shape (n_i,) each [m2].

    Returns
    -------
    MostScattered or None
        None where fewer than two cells can be compared [1].

    References
    ----------
    ISO 5725-2:2019, 7.3.3: the test supposes equal numbers, and holds well enough where few cells differ from them.
    """
    counts = Counter(cell.size for cell in cells if cell.size > 1)
    if not counts:
        return None
    usual = max(counts, key=lambda size: (counts[size], size))
    kept = [i for i, cell in enumerate(cells) if cell.size == usual]
    variance = np.array([np.var(cells[i], ddof=1) for i in kept])
    if variance.size < 2 or not variance.any():
        return None
    worst = int(np.argmax(variance))
    share = float(variance[worst] / variance.sum())
    return MostScattered(kept[worst], share, cochran_critical(variance.size, usual))


def cochran_critical(cells: int, runs: int, level: float = 0.01) -> float:
    """Critical value of Cochran's C.

    Parameters
    ----------
    cells : int
        Number of cells, 2 or more [1].
    runs : int
        Number of results in each, 2 or more [1].
    level : float
        Chance of a larger value where all cells scatter alike [1].

    Returns
    -------
    float
        Share of the sum of variances [1].

    References
    ----------
    ISO 5725-2:2019, 7.3.3 and table 4: F / (F + p - 1), F the 1 - level / p quantile for n - 1 and (p - 1)(n - 1).
    """
    f = float(fdtri(runs - 1, (cells - 1) * (runs - 1), 1.0 - level / cells))
    return f / (f + cells - 1)


def cells_of(result: SessionResult) -> Mapping[str, Array]:
    """Drag areas of a session's usable runs, by setup.

    Parameters
    ----------
    result : SessionResult
        Of an earlier session [1].

    Returns
    -------
    dict of ndarray
        By the setup's label, in riding order [m2].
    """
    found: dict[str, list[float]] = {}
    for run in result.runs:
        if run.cda_m2 is not None:
            found.setdefault(run.setup, []).append(run.cda_m2)
    return {label: np.array(areas) for label, areas in found.items()}

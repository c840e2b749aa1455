"""Figures of a scenario over its sessions, each with its standard error, and the lines that show them."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.core.types import Array
from analysis.core.yardstick.score import Compared, Score

VERDICTS = ("faster", "slower", "equivalent", "undecided", "invalid")


@dataclass(frozen=True, slots=True)
class Figure:
    """A value with its standard error."""

    value: float
    se: float

    def text(self, scale: float = 1.0, digits: int = 2) -> str:
        if math.isnan(self.value):
            return "-"
        return f"{self.value * scale:.{digits}f} ±{self.se * scale:.{digits}f}"


NOTHING = Figure(math.nan, math.nan)


def mean(values: Sequence[float]) -> Figure:
    """Mean of some values.

    Parameters
    ----------
    values : sequence of float
        In any unit [1]

    Returns
    -------
    Figure
        Mean and its standard error, in the values' unit [1].
    """
    if not values:
        return NOTHING
    return Figure(float(np.mean(values)), float(np.std(values) / math.sqrt(len(values))))


def root_mean_square(values: Array) -> Figure:
    """Root mean square of some values.

    Parameters
    ----------
    values : ndarray, shape (n,)
        In any unit [1]

    Returns
    -------
    Figure
        The root and its standard error by the delta method, in the values' unit [1].
    """
    if not values.size:
        return NOTHING
    root = float(np.sqrt(np.mean(values**2)))
    return Figure(root, float(np.std(values**2) / (2 * root * math.sqrt(values.size))) if root else 0.0)


def ratio(errors: Array, bounds: Array) -> Figure:
    """Root mean square of errors over that of their bounds, paired session by session.

    Parameters
    ----------
    errors : ndarray, shape (n,)
        [m2]
    bounds : ndarray, shape (n,)
        [m2]

    Returns
    -------
    Figure
        The ratio and its standard error by the delta method [1].
    """
    if not errors.size:
        return NOTHING
    below = float(np.mean(bounds**2))
    value = math.sqrt(float(np.mean(errors**2)) / below)
    apart = errors**2 - value**2 * bounds**2
    return Figure(value, float(np.std(apart) / (2 * value * below * math.sqrt(errors.size))) if value else 0.0)


def figures(scores: Sequence[Score]) -> dict[str, Figure]:
    """Every figure of a scenario.

    Parameters
    ----------
    scores : sequence of Score
        Drag areas in [m2].

    Returns
    -------
    dict of Figure
        By name; drag areas in [m2].
    """
    pairs = [c for s in scores for c in s.compared]
    said = [c for c in pairs if c.error_m2 is not None]
    errors = np.array([c.error_m2 for c in said], dtype=float)
    bounds = np.array([c.bound_m2 for c in said])
    onset = [s.onset_error for s in scores if s.onset_error is not None]
    out = {
        "rmse": root_mean_square(errors),
        "bound": root_mean_square(np.array([c.bound_m2 for c in pairs])),
        "ratio": ratio(errors, bounds),
        "by_hand": root_mean_square(np.array([c.by_hand_error_m2 for c in pairs])),
        "bias": mean(errors.tolist()),
        "coverage": mean([float(c.covered) for c in pairs if c.covered is not None]),
        "absolute": mean([float(hit) for s in scores for hit in s.absolute]),
        "simultaneous": mean([float(s.simultaneous) for s in scores if s.simultaneous is not None]),
        "half_width": mean([c.half_width_m2 for c in pairs if c.half_width_m2 is not None]),
        "alarm": mean([float(s.alarm) for s in scores if s.refused is None]),
        "drift_named": mean([float("airspeed_drift" in s.warnings) for s in scores]),
        "onset_error": mean([float(abs(error)) for error in onset]),
        "onset_within_one": mean([float(s.onset_error is not None and abs(s.onset_error) <= 1) for s in scores]),
        "traffic_found": mean([s.traffic_found for s in scores if s.traffic_found is not None]),
        "looked_different": mean([float(s.looked_different) for s in scores if s.looked_different is not None]),
        "refused": mean([float(s.refused is not None) for s in scores]),
        "seconds": mean([s.seconds for s in scores]),
    }
    return out | {verdict: _verdict_share(pairs, verdict) for verdict in VERDICTS}


def _verdict_share(pairs: Sequence[Compared], verdict: str) -> Figure:
    return mean([float(c.verdict == verdict) for c in pairs])


ERROR_COLUMNS = ("rmse", "bound", "ratio", "by_hand", "bias", "half_width")
SHARE_COLUMNS = ("coverage", "absolute", "simultaneous", "alarm", "drift_named", "onset_within_one", "onset_error")
RARE_COLUMNS = ("traffic_found", "looked_different", "refused")


def heading() -> list[str]:
    """Head of the table of errors.

    Returns
    -------
    list of str
        Lines.
    """
    titles = ["scenario", "n", "RMSE", "bound", "ratio", "by hand", "bias", "half-width", "coverage", "s"]
    return ["Drag areas in 0.0001 m2; ± is one standard error.", _line(titles), _line(["---"] * len(titles))]


def row(name: str, scores: Sequence[Score]) -> str:
    """A scenario's line in the table of errors.

    Parameters
    ----------
    name : str
    scores : sequence of Score
        Drag areas in [m2].

    Returns
    -------
    str
        The line.
    """
    f = figures(scores)
    cells = [f[c].text() if c == "ratio" else f[c].text(1e4) for c in ERROR_COLUMNS]
    return _line([name, str(len(scores)), *cells, f["coverage"].text(digits=3), f["seconds"].text()])


def shares(name: str, scores: Sequence[Score]) -> list[str]:
    """A scenario's shares: coverage, verdicts, and sessions with each warning.

    Parameters
    ----------
    name : str
    scores : sequence of Score
        Drag areas in [m2].

    Returns
    -------
    list of str
        Lines.
    """
    f = figures(scores)
    shown = [f"{c} {f[c].text(digits=3)}" for c in SHARE_COLUMNS + RARE_COLUMNS if not math.isnan(f[c].value)]
    verdicts = [f"{v} {f[v].text(digits=3)}" for v in VERDICTS if f[v].value > 0]
    counted = Counter(code for s in scores for code in s.warnings)
    n = len(scores)
    codes = [
        f"{code} {Figure(k / n, math.sqrt(k / n * (1 - k / n) / n)).text(digits=3)}"
        for code, k in counted.most_common()
    ]
    return [
        f"{name}: " + ", ".join(shown),
        "  verdicts: " + ", ".join(verdicts),
        "  warnings: " + ", ".join(codes or ["none"]),
    ]


def _line(cells: Sequence[str]) -> str:
    return "| " + " | ".join(cells) + " |"

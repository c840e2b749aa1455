"""What a difference says: intervals, the verdict, runs still needed. How it is estimated belongs to `joint`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.intervals import power_of_t, t_quantile, t_two_sided_p
from analysis.core.joint import Joint
from analysis.core.propagate import effective_degrees_of_freedom
from analysis.core.types import Verdict

POWER_WANTED = 0.80
MOST_RUNS = 400
Interval = tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Estimate:
    """A difference with what its intervals need."""

    value: float
    sd: float
    df: float
    simultaneous: float  # critical value for all setups together

    def interval(self, coverage: float) -> Interval:
        half = t_quantile(0.5 + coverage / 2.0, self.df) * self.sd
        return (self.value - half, self.value + half)

    def together(self) -> Interval:
        return (self.value - self.simultaneous * self.sd, self.value + self.simultaneous * self.sd)


def enough_runs(joint: Joint) -> bool:
    """Whether anything tells how well a run repeats: more runs than setups, or the studio's history.

    Parameters
    ----------
    joint : Joint
        The solved run-level model [1].

    Returns
    -------
    bool
        True where the repeatability is known [1].
    """
    history = joint.model.history
    return joint.model.runs > joint.model.setups or (history is not None and history.df >= 1.0)


def verdict(ridden: Estimate | None, several: bool, smallest_m2: float, invalid: bool) -> Verdict:
    """First that holds: invalid, faster or slower, equivalent, undecided.

    Parameters
    ----------
    ridden : Estimate | None
        Difference as ridden, None without an interval [m2].
    several : bool
        Whether several setups are told together [1].
    smallest_m2 : float
        Smallest difference worth having [m2].
    invalid : bool
        Whether a finding forbids a verdict [1].

    Returns
    -------
    str
        The verdict [1].
    """
    if invalid:
        return "invalid"
    if ridden is None:
        return "undecided"
    low, high = ridden.together() if several else ridden.interval(0.95)
    if high < 0.0:
        return "faster"
    if low > 0.0:
        return "slower"
    low, high = ridden.interval(0.90)
    return "equivalent" if -smallest_m2 < low and high < smallest_m2 else "undecided"


def more_runs_needed(ridden: Estimate, joint: Joint, counts: tuple[int, int], smallest_m2: float) -> int | None:
    """Runs still to ride, both setups together, for 80 % power at the larger of |delta| and the smallest difference.

    Parameters
    ----------
    ridden : Estimate
        Difference as ridden, None without an interval [m2].
    joint : Joint
        The solved run-level model [1].
    counts : tuple[int, int]
        Runs of the reference and of the changed setup [1].
    smallest_m2 : float
        Smallest difference worth having [m2].

    Returns
    -------
    int or None
        None where no number of runs in one session can do it [1].

    References
    ----------
    Welch (1947), Satterthwaite (1946): what does not shrink with the runs is taken as known, and adds degrees.
    """
    run2 = joint.scatter_m2**2 + joint.sensor_sd_m2**2
    fixed2 = max(ridden.sd**2 - run2 * (1.0 / counts[0] + 1.0 / counts[1]), 0.0)
    effect = max(abs(ridden.value), smallest_m2)
    spare = joint.model.history.df if joint.model.history else 0.0
    alpha = t_two_sided_p(ridden.simultaneous, ridden.df)  # the interval that must leave out zero is the joint one
    low, high = counts
    for more in range(1, MOST_RUNS):
        low, high = (low + 1, high) if low <= high else (low, high + 1)
        parts = np.sqrt([fixed2, run2 * (1.0 / low + 1.0 / high)])
        df = effective_degrees_of_freedom(parts, np.array([np.inf, max(low + high - 2 + spare, 1.0)]))
        if power_of_t(effect / float(np.hypot(*parts)), df, alpha) >= POWER_WANTED:
            return more + more % 2
    return None

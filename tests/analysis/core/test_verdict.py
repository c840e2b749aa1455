"""Verdicts in their order, two one-sided tests, runs still needed."""

import numpy as np
import pytest

from analysis.core.intervals import t_quantile
from analysis.core.joint import Drift, Evidence, Model
from analysis.core.types import Repeatability
from analysis.core.verdict import Estimate, more_runs_needed, verdict


def found(value: float, sd: float, df: float = 28.0, simultaneous: float | None = None) -> Estimate:
    """An estimate; told alone, its simultaneous critical value is Student's own."""
    return Estimate(value, sd, df, t_quantile(0.975, df) if simultaneous is None else simultaneous)


@pytest.mark.parametrize(
    ("estimate", "said"),
    [
        (found(-0.004, 0.001), "faster"),
        (found(0.004, 0.001), "slower"),
        (found(0.0005, 0.0005), "equivalent"),
        (found(0.001, 0.001), "undecided"),
        (found(-0.0015, 0.0002), "faster"),  # also inside the margin: the first that holds
        (None, "undecided"),
    ],
)
def test_the_first_that_holds(estimate, said):
    assert verdict(estimate, several=False, smallest_m2=0.002, invalid=False) == said


def test_invalid_comes_before_everything():
    assert verdict(found(-0.004, 0.001), several=False, smallest_m2=0.002, invalid=True) == "invalid"


def test_several_setups_are_told_by_the_simultaneous_interval():
    close = found(-0.0022, 0.001, simultaneous=2.4)
    assert verdict(close, several=False, smallest_m2=0.002, invalid=False) == "faster"
    assert verdict(close, several=True, smallest_m2=0.002, invalid=False) == "undecided"


def test_equivalence_is_the_ninety_percent_interval_inside_the_margin():
    """R package `equivalence` (in statsmodels' tests): difference 0.1646666667, SE 0.2531625991, df 28, margin 0.6.

    90 % interval [-0.2659960621, 0.5953293954], p = 0.0482731510: equivalent; not with a margin of 0.59.
    """
    pooled = found(0.1646666667, 0.2531625991, 28.0)
    assert pooled.interval(0.90) == pytest.approx((-0.2659960621, 0.5953293954), abs=1e-9)
    assert verdict(pooled, several=False, smallest_m2=0.6, invalid=False) == "equivalent"
    assert verdict(pooled, several=False, smallest_m2=0.59, invalid=False) == "undecided"


def two_by_two(sd: float):
    """Four runs whose own scatter is `sd`, and nothing else uncertain."""
    half = sd / np.sqrt(2.0)
    evidence = Evidence(
        setup=np.array([0, 0, 1, 1]), time_h=np.zeros(4), apparent_m2=0.24 + half * np.array([1.0, -1.0, 1.0, -1.0]),
        crr=np.array([0.004]), crr_state=np.zeros(2, dtype=int), balance_covariance=np.diag([1e-14] * 4 + [1e-8]),
        log_gain=None, gain_covariance=None, near_sensor=np.zeros(2, dtype=bool),
        power_share_m2=np.zeros(4), rolling_share_m2=np.zeros(4), own_variance=np.full(4, 1e-14),
    )  # fmt: skip
    return Model(evidence, Drift(np.zeros(4), 1.0), Repeatability(sd, 0.0)).solve()  # a history of nothing


def test_runs_needed_are_those_of_a_two_sample_t_test():
    """Two-sample t, alpha 0.05, power 0.80, d = 1: 16.715 a group, so 17 (statsmodels; R's power.t.test)."""
    joint = two_by_two(0.002)
    estimate = found(0.0, 0.002, 2.0)
    assert more_runs_needed(estimate, joint, (2, 2), smallest_m2=0.002) == pytest.approx(2 * 17 - 4, abs=2)


def test_a_larger_difference_needs_fewer_runs():
    joint = two_by_two(0.002)
    few, many = (more_runs_needed(found(d, 0.002, 2.0), joint, (2, 2), 0.002) for d in (0.006, 0.001))
    assert few < many


def test_where_no_number_of_runs_helps_there_is_none():
    joint = two_by_two(0.002)
    assert more_runs_needed(found(0.0, 0.01, 2.0), joint, (2, 2), smallest_m2=0.0005) is None

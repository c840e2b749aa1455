"""Several setups told together: Dunnett's own example and his tables, through the session's comparison."""

import numpy as np
import pytest

from analysis.core.compare import _family
from tests.analysis.core.ideal import against_the_reference, solved

SMALL = 1e-4  # so that strengths of cloth lie where drag areas do


def told_together(cells):
    joint = solved(cells)
    return _family(joint, against_the_reference(joint))


@pytest.fixture(scope="module")
def fabric(reference_table):
    table = reference_table("dunnett_fabric")
    return [table["value"][table["treatment"] == k] for k in range(4)]


def test_dunnetts_fabric_has_his_limits(fabric):
    """s^2 = 19, df 8, SE 3.559026, critical 2.880, limits +-10.25 about 11, 2 and -5 (from memory, recomputed)."""
    for estimate, difference in zip(told_together([SMALL * c for c in fabric]), (11.0, 2.0, -5.0), strict=True):
        assert estimate.value / SMALL == pytest.approx(difference, abs=1e-6)
        assert estimate.sd / SMALL == pytest.approx(3.559026084, rel=1e-4)  # the scatter's posterior in 25 steps
        assert estimate.df == pytest.approx(8.0, abs=0.01)
        assert estimate.simultaneous == pytest.approx(2.880, abs=0.0006)
        low, high = (end / SMALL for end in estimate.together())
        assert (low, high) == pytest.approx((difference - 10.25, difference + 10.25), abs=0.006)


def test_dunnetts_fabric_is_decided_as_by_a_general_library(fabric):
    """scipy.stats.dunnett: p = 0.037, 0.897, 0.409; only the first treatment's joint interval leaves out zero."""
    ends = [e.together() for e in told_together([SMALL * c for c in fabric])]
    assert [low > 0 or high < 0 for low, high in ends] == [True, False, False]


# setups beside the reference, runs each: degrees (k + 1)(n - 1) that stand in Dunnett's table
DESIGNS = [(2, 3), (3, 3), (4, 3), (5, 3), (2, 5), (3, 6), (4, 5), (5, 5), (2, 9), (4, 7), (5, 6)]


@pytest.mark.parametrize(("others", "runs"), DESIGNS)
def test_a_session_takes_its_critical_value_from_dunnetts_table(reference_table, others, runs):
    table = reference_table("dunnett_two_sided")
    df = (others + 1) * (runs - 1)
    printed = table[table["df"] == df][["two", "three", "four", "five"][others - 2]][0]
    chance = np.random.default_rng(others)
    told = told_together([0.24 + 0.001 * chance.normal(size=runs) for _ in range(others + 1)])
    for estimate in told:
        assert estimate.df == pytest.approx(df, abs=0.01)
        assert estimate.simultaneous == pytest.approx(printed, abs=0.0051)  # printed to two decimals


def test_joint_intervals_hold_together_as_often_as_they_say():
    """4,000 sessions of four setups that do not differ: 95 % hold all three zeros, plain intervals 89 %; se 0.35 %."""
    chance, runs = np.random.default_rng(3), 3
    estimate = told_together([0.24 + 0.001 * chance.normal(size=runs) for _ in range(4)])[0]
    samples = chance.normal(size=(4000, 4, runs))
    s = np.sqrt(samples.var(axis=2, ddof=1).mean(axis=1))
    worst = np.abs(samples.mean(axis=2)[:, 1:] - samples.mean(axis=2)[:, :1]).max(axis=1) / (s * np.sqrt(2 / runs))
    assert np.mean(worst <= estimate.simultaneous) == pytest.approx(0.95, abs=0.0105)
    assert np.mean(worst <= 2.306) < 0.91  # t(0.975, 8)

"""Two one-sided tests: the session's verdict against published figures and statsmodels."""

import numpy as np
import pytest
from statsmodels.stats.weightstats import ttost_ind, ttost_paired

from analysis.core.compare import _family
from analysis.core.intervals import t_quantile
from analysis.core.propagate import effective_degrees_of_freedom, propagate
from analysis.core.verdict import Estimate, verdict
from tests.analysis.core.ideal import against_the_reference, solved

SMALL = 1e-3
MARGINS = (0.3, 0.4, 0.5, 0.58, 0.59, 0.594, 0.597, 0.6, 0.61, 0.7, 1.0)


@pytest.fixture(scope="module")
def clinic(reference_table):
    """First group less the second is +0.165: so the second is the reference."""
    table = reference_table("tost_clinic")
    return table["var1"][table["group"] == 2], table["var1"][table["group"] == 1]


@pytest.fixture(scope="module")
def ridden(clinic):
    joint = solved([SMALL * sample for sample in clinic])
    return _family(joint, against_the_reference(joint))[0]


def said(estimate: Estimate, margin: float) -> str:
    return verdict(estimate, several=False, smallest_m2=margin, invalid=False)


def test_the_sessions_interval_is_that_of_the_published_test(ridden):
    """R package "equivalence", pooled: 0.1646666667, SE 0.2531625991, df 28, 90 % [-0.2659960621, 0.5953293954]."""
    assert ridden.value / SMALL == pytest.approx(0.1646666667, abs=1e-7)
    assert ridden.sd / SMALL == pytest.approx(0.2531625991, rel=1e-4)  # the scatter's posterior in 25 steps
    assert ridden.df == pytest.approx(28.0, abs=0.02)
    ends = tuple(end / SMALL for end in ridden.interval(0.90))
    assert ends == pytest.approx((-0.2659960621, 0.5953293954), abs=1e-4)


@pytest.mark.parametrize("margin", MARGINS)
def test_a_session_is_equivalent_where_statsmodels_says_so(clinic, ridden, margin):
    p = ttost_ind(clinic[1], clinic[0], -margin, margin, usevar="pooled")[0]
    assert (said(ridden, SMALL * margin) == "equivalent") == (p <= 0.05)


def unequal(clinic) -> Estimate:
    """The difference where each group keeps its own variance: Welch's degrees of freedom."""
    errors = np.array([sample.std(ddof=1) / np.sqrt(sample.size) for sample in clinic])
    df = effective_degrees_of_freedom(errors, np.array([sample.size - 1 for sample in clinic]))
    u = float(propagate(np.ones(2), errors).uncertainty[0])
    return Estimate(float(clinic[1].mean() - clinic[0].mean()), u, df, t_quantile(0.975, df))


def test_welchs_interval_is_that_of_the_published_test(clinic):
    """R package "equivalence", Welch: SE 0.2531625991, df 26.7484787582, 90 % [-0.2666862981, 0.5960196314]."""
    estimate = unequal(clinic)
    assert (estimate.sd, estimate.df) == pytest.approx((0.2531625991, 26.7484787582), abs=1e-9)
    assert estimate.interval(0.90) == pytest.approx((-0.2666862981, 0.5960196314), abs=1e-9)


@pytest.mark.parametrize("margin", MARGINS)
def test_welchs_verdict_is_that_of_statsmodels(clinic, margin):
    p = ttost_ind(clinic[1], clinic[0], -margin, margin, usevar="unequal")[0]
    assert (said(unequal(clinic), margin) == "equivalent") == (p <= 0.05)


def test_the_paired_verdict_is_that_of_statsmodels(clinic):
    """R package "equivalence", paired: SE 0.1357514068, df 14, 90 % [-0.0744336621, 0.4037669954]."""
    apart = clinic[1] - clinic[0]
    paired = Estimate(float(apart.mean()), float(apart.std(ddof=1) / np.sqrt(15)), 14.0, t_quantile(0.975, 14.0))
    assert paired.interval(0.90) == pytest.approx((-0.0744336621, 0.4037669954), abs=1e-9)
    for margin in MARGINS:
        p = ttost_paired(clinic[1], clinic[0], -margin, margin)[0]
        assert (said(paired, margin) == "equivalent") == (p <= 0.05)

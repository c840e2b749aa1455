"""A short share of tests/load/monte_carlo_budget.py: the JCGM 100 budget against JCGM 101 draws of all inputs."""

import numpy as np
import pytest

from tests.load.monte_carlo_budget import propagated

DRAWS = 24


@pytest.fixture(scope="module")
def drawn():
    return propagated(DRAWS, 5)


@pytest.mark.parametrize("quantity", ["drag area", "difference"])
def test_the_budget_is_the_spread_of_the_draws(drawn, quantity):
    # JCGM 101:2008, 7.6: u from the draws. Chi-square of 23 degrees: their SD is within 29 % of u in 95 of 100 cases
    ratio = np.std(drawn[quantity].error_m2, ddof=1) / drawn[quantity].u
    assert 0.71 < ratio < 1.29


@pytest.mark.parametrize("quantity", ["drag area", "difference"])
def test_the_interval_holds_the_draws(drawn, quantity):
    # all but one or two of 24 lie within 1.96 u; four outside has a chance of 3 %
    found = drawn[quantity]
    assert np.sum(np.abs(found.error_m2) > 1.959964 * found.u) <= 3

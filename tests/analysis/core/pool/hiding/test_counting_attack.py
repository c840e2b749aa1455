"""The attacker with counts and slopes: a short seeded share of tests/load/attack_rounds.py, and that it can count."""

from functools import cache

import numpy as np
import pytest

from tests.analysis.core.pool.hiding.counting_attacker import Belief, attack_with_counts
from tests.analysis.core.pool.hiding.studios import Studio
from tests.analysis.core.pool.hiding.world import world

HALF_A_STEP_M2 = 0.00005


@cache
def found():
    studio = Studio(world(2, riders=100, anchored=True))
    return attack_with_counts(studio, (40, 49), np.random.default_rng(2), attacks=1, steps=300)


def test_half_of_everybody_stays_hidden_behind_figures_slopes_and_counts():
    assert min(found().counts, found().slopes) > 0
    assert found().least >= 0.50
    assert found().after_counts >= 0.50


def test_the_attacker_reads_slopes_rightly():
    assert found().misread_m2 <= HALF_A_STEP_M2 + 1e-9


@pytest.mark.parametrize("told", [10, 7, 5])
def test_what_a_count_alone_tells_of_one_rider(told):
    """Ten unknown differences around zero, `told` of them faster: E|x| = sqrt(2/pi), so the variance of each is
    1 - 2/pi (1 - told/5)^2; by hand, of all ten 0.603 of the spread is left, of five all of it."""
    start = np.where(np.arange(10) < told, -0.5, 0.5)
    belief = Belief(np.zeros(11), np.vstack([np.eye(10), np.eye(10)[0]]), start, [(slice(0, 10), told)])
    expected = np.sqrt(1.0 - 2.0 / np.pi * (1.0 - told / 5.0) ** 2)
    assert belief.spread(np.random.default_rng(1), 1500) == pytest.approx(expected, abs=0.06)

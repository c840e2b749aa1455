"""Leaving one rider out, against published case deletion and by hand.

BCG vaccine, 13 trials, random effects by REML: the estimate without each trial is what a plain REML fit of the other
twelve gives; here a grid search of the restricted likelihood written out in numpy (Patterson & Thompson 1971).
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from analysis.core.pool.arms import Arms
from analysis.core.pool.influence import MOST_RIDERS, influence
from analysis.core.pool.transfer import contrasts_of
from tests.analysis.core.pool.networks import bcg, simulated


def plain_reml(value, variance):
    """Mean of a random-effects model at the top of its restricted likelihood."""

    def cost(tau2):
        w = 1.0 / (variance + tau2)
        mean = (w @ value) / w.sum()
        return float(-np.log(w).sum() + np.log(w.sum()) + w @ (value - mean) ** 2)

    tau2 = float(minimize_scalar(cost, bounds=(0.0, 3.0), method="bounded", options={"xatol": 1e-10}).x)
    w = 1.0 / (variance + tau2)
    return (w @ value) / w.sum(), np.sqrt(tau2)


def test_each_trial_left_out_of_the_vaccines():
    arms = bcg()
    vaccine, none = arms.products.index("vaccine"), arms.products.index("none")
    whole, left = influence(arms, vaccine, none)
    contrasts = contrasts_of(arms, vaccine, none)
    assert whole.effect_m2 == pytest.approx(-0.714532, abs=1e-6)  # Viechtbauer (2010)
    assert len(left) == 13
    for one in left:
        others = contrasts.rider != one.rider
        effect, tau = plain_reml(contrasts.value_m2[others], contrasts.variance_m4[others])
        assert (one.effect.effect_m2, one.effect.tau_m2) == pytest.approx((effect, tau), abs=1e-5)


def test_who_weighs_most_comes_first_and_shares_add_to_one():
    shares = [one.share for one in influence(simulated(3, riders=15, sessions=2), 1, 0)[1]]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) == pytest.approx(1.0)


def test_a_rider_with_many_sessions_goes_as_a_whole():
    arms = simulated(4, riders=12, sessions=3)
    _, left = influence(arms, 1, 0)
    without = influence(arms.take(arms.rider != left[0].rider), 1, 0)[0]
    assert left[0].effect == without


def test_a_rider_whose_own_difference_is_far_off_moves_it_most():
    arms = simulated(5, riders=14, tau=0.2)
    odd = arms.rider[np.flatnonzero(arms.product == 1)[0]]
    value = arms.value_m2 + 9.0 * ((arms.rider == odd) & (arms.product == 1))
    whole, left = influence(replace(arms, value_m2=value), 1, 0)
    moved = {one.rider: abs(one.effect.effect_m2 - whole.effect_m2) for one in left}
    assert max(moved, key=moved.get) == odd


def test_without_the_only_link_nothing_is_told():
    """Rider 0 alone rode both 0 and 1; rider 1 rode 1 and 2."""
    codes = np.array([0, 0, 1, 1])
    arms = Arms(codes, codes, np.array([0, 1, 1, 2]), np.arange(4.0), np.ones(4), ("a", "b", "c"))
    assert {one.rider: one.effect for one in influence(arms, 2, 0)[1]} == {0: None, 1: None}
    assert influence(arms.take(codes == 1), 2, 0) == (None, ())


def test_of_very_many_riders_only_the_heaviest_are_left_out():
    assert len(influence(simulated(6, riders=70), 1, 0)[1]) == MOST_RIDERS

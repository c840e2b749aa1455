"""Riders who repeat products, against the textbook's dense generalised least squares and REML (no shared code).

Formulas: Searle, Casella & McCulloch (1992), Variance Components, ch. 6: P = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from analysis.core.pool import fit as fitting
from analysis.core.pool import layout, linked
from analysis.core.pool.arms import Arms
from analysis.core.pool.between import Between
from analysis.core.pool.fit import fit
from analysis.core.pool.linked import invert
from analysis.core.pool.standings import pool
from analysis.core.pool.sums import Sums
from tests.analysis.core.pool.networks import shuffled, simulated


class Dense:
    """The same model with every matrix written out, for the differences to each study's first arm."""

    def __init__(self, arms: Arms) -> None:
        _, start, study = np.unique(arms.study, return_index=True, return_inverse=True)
        p = len(arms.products)
        each = np.arange(study.size)
        take = (np.eye(study.size) - np.eye(study.size)[start[study]])[start[study] != each]
        self.y, self.x = take @ arms.value_m2, take @ np.eye(p)[arms.product][:, 1:]
        self.error = take * arms.se_m2**2 @ take.T
        cells = take @ np.eye((arms.rider.max() + 1) * p)[arms.rider * p + arms.product]
        self.s = cells @ cells.T / 2

    def at(self, tau2):
        inverse = np.linalg.inv(self.error + tau2 * self.s)
        covariance = np.linalg.inv(self.x.T @ inverse @ self.x)
        projection = inverse - inverse @ self.x @ covariance @ self.x.T @ inverse
        return projection, covariance, covariance @ self.x.T @ inverse @ self.y

    def slope(self, tau2):
        projection, *_ = self.at(tau2)
        return self.y @ projection @ self.s @ projection @ self.y - np.trace(projection @ self.s)

    def q(self, tau2):
        return self.y @ self.at(tau2)[0] @ self.y


@pytest.mark.parametrize("wide", [False, True], ids=["pairs", "dense products"])
@pytest.mark.parametrize(
    "shape",
    [
        {"riders": 10, "sessions": 1},
        {"riders": 8, "sessions": 3, "own": 3},
        {"riders": 5, "sessions": 6, "products": 12},
        {"riders": 4, "sessions": 12, "products": 14, "own": 11},
    ],
    ids=["no repeats", "few products", "loosely tied", "large blocks"],
)
def test_the_model_solved_in_blocks_is_the_model_solved_whole(monkeypatch, shape, wide):
    monkeypatch.setattr(layout, "MOST_PAIRED", 2 if wide else 16)
    arms = simulated(4, tau=1.5, **shape)
    fitted, dense = fit(shuffled(arms, np.random.default_rng(0)), 0), Dense(arms)
    tau2 = brentq(dense.slope, 0.0, 100.0, xtol=1e-13)
    _, covariance, effects = dense.at(tau2)
    moment = (dense.q(0.0) - fitted.df) / np.trace(dense.at(0.0)[0] @ dense.s)
    assert fitted.members.size == len(arms.products)
    assert fitted.tau2 == pytest.approx(tau2, rel=1e-6)
    assert fitted.tau2_dl == pytest.approx(moment, rel=1e-9)
    assert fitted.zero.q == pytest.approx(dense.q(0.0), rel=1e-10)
    assert fitted.best.q == pytest.approx(dense.q(tau2), rel=1e-6)
    np.testing.assert_allclose(fitted.best.effects[1:], effects, atol=1e-6)
    np.testing.assert_allclose(fitted.best.covariance[1:, 1:], covariance, rtol=1e-5, atol=1e-9)


@pytest.mark.parametrize("few", [0, 20_000], ids=["as a large network", "as a small one"])
@pytest.mark.parametrize("seed", range(6))
def test_errors_of_very_different_size_cost_riders_who_repeat_no_digits(monkeypatch, seed, few):
    monkeypatch.setattr(fitting, "FEW_ARMS", few)
    given = simulated(seed, riders=9, sessions=4, products=10, tau=5.0)
    errors = np.random.default_rng(seed).choice([0.01, 3.0], given.se_m2.size)
    arms = replace(given, value_m2=given.value_m2 + errors, se_m2=errors)
    dense = Dense(arms)
    tau2 = brentq(dense.slope, 1.0, 1000.0, xtol=1e-12)
    assert fit(arms, 0).tau2 == pytest.approx(tau2, rel=2e-7 if few == 0 else 1e-8)  # 40 digits agree to 1e-11


def test_what_two_cells_of_little_weight_know_is_kept_beside_heavy_ones():
    # one rider's two sessions of small and of huge errors; G in ten times the digits would be A (I + hA)^-1
    study, product = np.repeat([0, 1], 2), np.array([0, 1, 1, 2])
    error = np.array([1e-3, 1e-3, 1e6, 1e6])
    arms = Arms(study, np.zeros(4, np.int64), product, np.arange(4.0), error, ("a", "b", "c"))
    sums = layout.lay_out(arms).sums(2.0)
    # two resistors in line, of either session: 2 se^2 and a rider's departure of each product, once
    assert -sums.laplacian[0, 1] == pytest.approx(1 / (2 + 2e-6), rel=1e-9)
    assert sums.laplacian[2, 2] == pytest.approx(1 / 2e12, rel=1e-9)


@pytest.mark.parametrize("spread", [1e4, 1e8, 1e12, 1e20])
def test_riders_who_differ_far_beyond_their_errors_are_pooled(spread):
    """At any scale of departures: errors are then nothing, and figures the unit of the departures."""
    given = simulated(3, riders=8, sessions=4, products=5, tau=1.0)
    rng = np.random.default_rng(3)
    departures = rng.normal(size=(8, 5))[given.rider, given.product]
    one, far = (
        pool(
            replace(given, value_m2=s * departures, se_m2=np.full(departures.size, 1e-4 * s / n)), reference="product 0"
        )
        for s, n in ((1.0, 1.0), (spread, spread))
    )
    assert far.tau_m2 / spread == pytest.approx(one.tau_m2, rel=1e-6)
    for a, b in zip(one.products, far.products, strict=True):
        assert (b.effect_m2 / spread, b.se_m2 / spread) == pytest.approx((a.effect_m2, a.se_m2), rel=1e-6, abs=1e-6)


def test_sums_are_not_told_from_two_that_are_too_near_for_a_slope():
    network = layout.lay_out(simulated(6, riders=12, sessions=6, products=12))
    between = Between(network)
    for tau2 in (1e-6, 1.003e-6, 1.001e-6):
        between.sums(tau2)
    assert [tau2 for tau2, _ in between.summed] == [1.003e-6, 1.001e-6]


def test_blocks_shared_out_to_threads_say_what_one_thread_adds(monkeypatch):
    network = layout.lay_out(simulated(6, tau=1.5, riders=12, sessions=6, products=12)).linked
    assert len(network.batches) > 2  # as many for either thread
    told = []
    for alone in (0, 0, 1000):
        monkeypatch.setattr(linked, "ALONE", alone)
        sums = Sums.empty(12)
        network.add(sums, 2.0)
        told.append(sums)
    for name in Sums.__slots__:
        one, again, single = (getattr(sums, name) for sums in told)
        assert np.array_equal(one, again), name
        assert one == pytest.approx(single, rel=1e-12, abs=1e-13), name


@pytest.mark.parametrize("at", [-0.4, 0.3, 0.9, 1.4])
def test_sums_told_from_two_neighbours_are_those_summed(at):
    network = layout.lay_out(simulated(6, tau=1.5, riders=12, sessions=6, products=12))
    between, low, step = Between(network), 2.0, 0.0075
    between.sums(low), between.sums(low + step)
    told, summed = (one.sums(low + at * step) for one in (between, network))
    assert len(between.summed) == 2  # nothing was summed anew
    assert between.summed[0][0] == low
    for name in Sums.__slots__:
        assert getattr(told, name) == pytest.approx(getattr(summed, name), rel=2e-7, abs=1e-9), name


@pytest.mark.parametrize("far", [2.03, 1.99, 2.2])
def test_sums_are_not_told_from_afar(far):
    network = layout.lay_out(simulated(6, tau=1.5, riders=12, sessions=6, products=12))
    between = Between(network)
    between.sums(2.0), between.sums(2.0075), between.sums(far)
    assert [tau2 for tau2, _ in between.summed] == [2.0075, far]


def test_ten_sessions_of_a_rider_are_not_ten_riders():
    few = simulated(2, riders=6, sessions=1, products=3, tau=1.0)
    again = [few] * 10
    many = Arms(
        np.concatenate([a.study + 6 * k for k, a in enumerate(again)]),
        np.concatenate([a.rider for a in again]),
        np.concatenate([a.product for a in again]),
        np.concatenate([a.value_m2 for a in again]),
        np.concatenate([a.se_m2 * 10**0.5 for a in again]),
        few.products,
    )
    one, ten = fit(few, 0), fit(many, 0)
    np.testing.assert_allclose(ten.best.covariance, one.best.covariance, rtol=1e-5, atol=1e-12)
    assert ten.tau2 == pytest.approx(one.tau2, rel=1e-5)


def test_one_rider_alone_tells_no_heterogeneity():
    found = pool(simulated(1, riders=1, sessions=8, products=3), reference="product 0")
    assert (found.tau_m2, found.tau_dl_m2, found.interval_method) == (None, None, None)
    assert {row.ci95_m2 for row in found.products if row.product != "product 0"} == {None}
    assert found.df > 0


@pytest.mark.parametrize("marks", [0, 64], ids=["sorted", "marked"])
def test_riders_of_several_sessions_who_repeat_nothing_are_not_tied(monkeypatch, marks):
    monkeypatch.setattr(layout, "MARKS_PER_ROW", marks)
    one = simulated(5, riders=8, products=6)
    arms = Arms(one.study, one.rider // 2, one.product + 6 * (one.rider % 2), one.value_m2, one.se_m2, ("x",) * 12)
    assert layout.lay_out(arms).linked.batches == ()


@pytest.mark.parametrize("cells", [1, 2, 7, 32, 33, 70])
def test_blocks_of_any_size_are_inverted(cells):
    """Against numpy.linalg.inv; the matrices' own digits are lost by their condition, some 1e3 here."""
    half = np.random.default_rng(cells).normal(size=(5, cells, 2 * cells))
    matrices = np.eye(cells) + 10.0 * half @ half.transpose(0, 2, 1)
    np.testing.assert_allclose(invert(matrices), np.linalg.inv(matrices), rtol=1e-9, atol=1e-13)

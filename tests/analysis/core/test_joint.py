"""The run-level model against what it must become in simple cases: a two-sample t test, pooled repeatability."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import ndtr
from scipy.stats import t, ttest_ind

from analysis.core.intervals import t_quantile, t_two_sided_p
from analysis.core.joint import Drift, Evidence, Model, freedom, run_values
from analysis.core.propagate import effective_degrees_of_freedom
from analysis.core.types import Repeatability

# Student (1908), Biometrika 6:1-25: hours of sleep gained with two drugs, ten patients
FIRST = np.array([0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0])
SECOND = np.array([1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4])
STILL = Drift(np.zeros(1), 1.0)
NEVER_SCATTERS = Repeatability(1e-6, 1e6)


def runs_of(first, second, **other) -> Evidence:
    """Drag areas as an ideal session gives them: all at one time, no sensor noise, nothing to correct."""
    n, m = len(first), len(second)
    plain = {
        "setup": np.repeat([0, 1], [n, m]),
        "time_h": np.zeros(n + m),
        "apparent_m2": np.concatenate([first, second]),
        "crr": np.array([0.004]),
        "crr_state": np.zeros(2, dtype=int),
        "balance_covariance": np.diag([1e-14] * (n + m) + [1e-8]),
        "log_gain": None,
        "gain_covariance": None,
        "near_sensor": np.zeros(2, dtype=bool),
        "power_share_m2": np.zeros(n + m),
        "rolling_share_m2": np.zeros(n + m),
    }
    told = plain | other
    return Evidence(**told, own_variance=np.diag(told["balance_covariance"])[: n + m])


def difference(joint):
    return joint.contrast(joint.weights(setup=np.array([1.0, -1.0])))


def test_without_drift_and_sensor_noise_it_is_the_pooled_t_test():
    """t = -1.860813467, df 18, p = 0.079186714 (R manual, t.test with var.equal; from memory, recomputed)."""
    no_prior = Repeatability(0.003, 0.0)  # a history of nothing
    value, variance, df = difference(Model(runs_of(FIRST / 1000, SECOND / 1000), STILL, no_prior).solve())
    assert value * 1000 == pytest.approx(-1.58, abs=1e-6)
    assert value / np.sqrt(variance) == pytest.approx(-1.860813467, rel=1e-3)  # the likelihood's top, to 0.1 %
    assert df == pytest.approx(18.0, rel=1e-2)
    assert t_two_sided_p(value / np.sqrt(variance), df) == pytest.approx(0.079186714, rel=5e-3)


def mean_of_first(joint):
    return joint.weights(setup=np.array([1.0, 0.0]))


def test_what_all_runs_share_lends_the_rest_no_degrees_of_freedom():
    """A mean within the session has Student's t of the pooled s, 18 degrees, however large the shared part is."""
    shared = 0.005**2
    told = runs_of(FIRST / 1000, SECOND / 1000, balance_covariance=np.diag([1e-14] * 20 + [1e-8]))
    wide = told.balance_covariance.copy()
    wide[:20, :20] += shared
    joint = Model(replace(told, balance_covariance=wide), STILL, Repeatability(0.003, 0.0)).solve()
    weights = mean_of_first(joint)
    assert freedom(joint, weights, -shared) == pytest.approx(18.0, rel=0.01)
    assert freedom(joint, weights) > 900  # a hundred parts known to one in doubt


@pytest.mark.parametrize("known_m2", [0.0002, 0.0005, 0.001])
def test_a_known_part_is_told_with_the_doubt_of_the_rest(known_m2):
    """A t of 18 degrees and a known normal part together (Behrens and Fisher), integrated by scipy.

    Welch (1947) and Satterthwaite (1946), (v1 + v2)^2 / (v1^2 / 18), give a factor that is up to 2 % smaller.
    """
    joint = Model(runs_of(FIRST / 1000, SECOND / 1000), STILL, Repeatability(0.003, 0.0)).solve()
    weights = mean_of_first(joint)
    own = float(np.sqrt(weights @ joint.covariance @ weights))
    factor = t_quantile(0.975, freedom(joint, weights, known_m2**2))
    half = factor * np.hypot(own, known_m2)

    def inside(x: float) -> float:
        return float(t.pdf(x, 18) * (ndtr((half - own * x) / known_m2) - ndtr((-half - own * x) / known_m2)))

    assert quad(inside, -40, 40, points=[0.0], limit=200)[0] == pytest.approx(0.95, abs=1e-3)
    welch = effective_degrees_of_freedom(np.array([own, known_m2]), np.array([18.0, np.inf]))
    assert 1.0 <= factor / t_quantile(0.975, welch) < 1.02


def test_history_is_pooled_with_the_session():
    """s^2 = (df0 s0^2 + df s^2) / (df0 + df): pooled variance, as in ISO 5725-2 for s_r; here both are small."""
    first, second = FIRST / 10_000, SECOND / 10_000
    own = (9 * np.var(first, ddof=1) + 9 * np.var(second, ddof=1)) / 18
    joint = Model(runs_of(first, second), STILL, Repeatability(0.0003, 30.0)).solve()
    assert joint.scatter_m2**2 == pytest.approx((30 * 0.0003**2 + 18 * own) / 48, rel=2e-3)
    assert difference(joint)[2] == pytest.approx(48.0, rel=0.01)


def test_a_history_of_large_scatter_is_believed_little_less_than_it_says():
    """Beside 30 degrees that saw 0.004 m2 the half normal of 0.0024 m2 takes away some per cent, no more."""
    joint = Model(runs_of(FIRST / 1000 * 2, SECOND / 1000 * 2), STILL, Repeatability(0.004, 30.0)).solve()
    own = (9 * np.var(2 * FIRST / 1000, ddof=1) + 9 * np.var(2 * SECOND / 1000, ddof=1)) / 18
    pooled = np.sqrt((30 * 0.004**2 + 18 * own) / 48)
    assert 0.94 * pooled < joint.scatter_m2 < pooled


@pytest.mark.parametrize(("runs", "scale"), [(2, 0.0017), (3, 0.00205), (4, 0.0024), (6, 0.0024)])
def test_a_session_cannot_repeat_better_than_its_sensors(runs, scale):
    """Runs that agree by chance make no verdict; the interval is that of the posterior, integrated by scipy.

    The variance T of a run lies above the sensors' S, with a prior flat in log T times a half normal in the scatter;
    all degrees of freedom saw a sum of squares of nothing (Box and Tiao 1973, section 5.2, truncated).
    """
    same, degrees = np.full(runs, 0.2400), 2 * runs - 2
    sensors = np.diag([0.001**2] * (2 * runs) + [1e-8])
    step = 0.00106 * np.sqrt(2 / runs)  # a standard deviation of the difference, if the sensors alone scattered
    joint = Model(runs_of(same, same + step, balance_covariance=sensors), STILL, None).solve()
    value, variance, df = difference(joint)
    half = t_quantile(0.975, df) * np.sqrt(variance)

    def weight(log_total: float) -> float:
        return float(np.exp(-degrees / 2 * log_total - 0.5 * (np.exp(log_total) - 1e-6) / scale**2))

    ends, spread = (np.log(1e-6), np.log(1e-6 + 0.02**2)), np.sqrt(2 / runs)
    hit = quad(lambda u: weight(u) * (2 * ndtr(half / (spread * np.exp(u / 2))) - 1), *ends)[0]
    assert hit / quad(weight, *ends)[0] == pytest.approx(0.95, abs=2e-3)  # the rider's drift is unknown, too
    assert np.sqrt(variance) > 0.001 * spread
    assert t_two_sided_p(value / np.sqrt(variance), df) > 0.2


def with_gains(gain_of_second: float, near: bool) -> Evidence:
    """Eight runs whose closure knows each gain to 1 %; the second setup's sensor reads otherwise."""
    gains = np.repeat([0.0, gain_of_second], 4)
    return runs_of(
        0.24 * np.exp(-2 * gains[:4]), 0.24 * np.exp(-2 * gains[4:]), log_gain=gains,
        gain_covariance=0.01**2 * np.eye(8),
        near_sensor=np.array([False, near]), balance_covariance=np.diag([0.0006**2] * 8 + [1e-8]),
    )  # fmt: skip


def test_the_gain_is_shared_where_nothing_near_the_sensor_changed():
    apart = abs(difference(Model(with_gains(0.005, near=False), STILL, None).solve())[0])
    assert apart == pytest.approx(2 * 0.24 * 0.005, rel=0.06)  # almost all of it is taken for drag


def test_a_changed_position_pays_for_its_own_gain():
    shared = difference(Model(with_gains(0.0, near=False), STILL, None).solve())
    own = difference(Model(with_gains(0.0, near=True), STILL, None).solve())
    # prior 0.5 %, closure 0.01 sqrt(2/4): posterior (1/0.005^2 + 2/0.01^2)^-1/2 = 0.41 %, twice over in drag area
    assert np.sqrt(own[1] - shared[1]) == pytest.approx(2 * 0.24 * 0.00408, rel=0.05)
    assert own[2] > shared[2]  # part of the variance is known beforehand


def test_runs_carry_the_sessions_gain():
    joint = Model(with_gains(0.0, near=False), STILL, None).solve()
    values, errors = run_values(joint)
    assert values == pytest.approx(0.24, abs=1e-9)
    assert errors == pytest.approx(0.0006, rel=0.1)


# variance of the difference of two setups in one run's, without a drift and with a fitted line (exact linear algebra)
ORDERS = {
    "ABBA": (1.0, 1.0), "ABAB": (1.0, 1.25), "AABB": (1.0, 5.0), "ABA": (1.5, 1.5), "AAB": (1.5, 6.0),
    "ABBABAAB": (0.5, 0.5), "ABBAABBA": (0.5, 0.5), "ABABABAB": (0.5, 0.525), "AAAABBBB": (0.5, 2.1),
}  # fmt: skip


@pytest.mark.parametrize("order", ORDERS)
def test_an_order_costs_what_the_drift_of_the_rider_makes_it_cost(order):
    def variance(hours_a_run: float) -> float:
        setup, n = np.array([0 if s == "A" else 1 for s in order]), len(order)
        noise, time = np.diag([0.001**2] * n + [1e-8]), np.arange(n) * hours_a_run
        areas = [0.24] * int(np.sum(setup == 0)), [0.24] * int(np.sum(setup == 1))
        e = runs_of(*areas, setup=setup, time_h=time, balance_covariance=noise)
        return difference(Model(e, STILL, NEVER_SCATTERS).solve())[1] / 0.001**2

    without, fitted = ORDERS[order]
    assert variance(0.0) == pytest.approx(without, rel=1e-3)  # the scatter's posterior lies within 1e-3 of nothing
    assert variance(100.0) == pytest.approx(fitted, rel=1e-3)  # the prior of 0.003 m2/h is as good as none


@pytest.mark.parametrize("lost", [(), (0,), (3, 7), (1, 2, 5)])
def test_missing_runs_leave_an_unbalanced_two_sample_test(lost):
    """scipy.stats.ttest_ind, equal variances, on the runs that are left: t, degrees and p."""
    first, second = np.delete(FIRST[:8], lost) / 1000, SECOND[:8] / 1000
    wanted = ttest_ind(first, second)
    value, variance, df = difference(Model(runs_of(first, second), STILL, Repeatability(0.003, 0.0)).solve())
    assert value / np.sqrt(variance) == pytest.approx(wanted.statistic, rel=2e-3)  # the scatter's posterior in steps
    assert df == pytest.approx(wanted.df, rel=1e-2)
    assert t_two_sided_p(value / np.sqrt(variance), df) == pytest.approx(wanted.pvalue, rel=1e-2)

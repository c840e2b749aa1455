"""Meta-regression against published figures, a general library and its own promise of coverage.

BCG vaccine, 13 trials (Colditz et al. 1994; tests/references/networks/SOURCES.md), log risk ratio on absolute latitude:
printed by the public documentation of a general meta-analysis library (its example page: REML, with and without Knapp
and Hartung's test), and Viechtbauer (2010), J. Stat. Softw. 36(3), p. 16, for latitude and year together. Tolerance:
half a unit of the last printed digit; a whole one for tau2 and what hangs on it most, since that library stops at steps
of 1e-5 in tau2.
"""

import numpy as np
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from analysis.core.pool.transfer import (
    ALIKE,
    Contrasts,
    Regression,
    Untold,
    contrasts_of,
    kinds_as_columns,
    regress,
    slope_weights,
)
from tests.analysis.core.pool.networks import bcg, simulated, table
from tests.load.slope_coverage import coverage


@pytest.fixture(scope="module")
def trials():
    arms = bcg()
    contrasts = contrasts_of(arms, arms.products.index("vaccine"), arms.products.index("none"))
    by_number = {str(at): row for at, row in enumerate(sorted(table("bcg.csv"), key=lambda row: row["trial"]))}
    told = [by_number[str(study)] for study in contrasts.study]
    return contrasts, np.array([[float(row["ablat"]), float(row["year"])] for row in told]), told


def plain(differences, variances, riders=None):
    count = len(differences)
    every = np.arange(count)
    return Contrasts(
        every if riders is None else np.asarray(riders),
        every,
        np.asarray(differences, float),
        np.asarray(variances, float),
        (every, every),
    )


def test_the_contrasts_of_the_trials_are_the_published_log_risk_ratios(trials):
    contrasts, _, told = trials
    assert contrasts.value_m2 == pytest.approx([float(row["yi_logRR"]) for row in told], abs=1e-9)
    assert contrasts.variance_m4 == pytest.approx([float(row["vi"]) for row in told], abs=1e-9)


def test_latitude_and_the_vaccine_by_reml(trials):
    contrasts, moderators, _ = trials
    found = regress(contrasts, moderators[:, :1])
    assert found.coefficients == pytest.approx([0.2515, -0.0291], abs=5e-5)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx([0.2491, 0.0072], abs=5e-5)
    assert found.tau2 == pytest.approx(0.0764, abs=1e-4)
    assert (found.q, found.q_df) == (pytest.approx(30.7331, abs=5e-5), 11)
    assert found.explained == pytest.approx(0.7562, abs=2e-4)  # 1 - .0764 / .3132


def test_latitude_and_the_vaccine_with_knapp_and_hartung(trials):
    contrasts, moderators, _ = trials
    found = regress(contrasts, moderators[:, :1])
    assert found.df == 11
    assert found.se == pytest.approx([0.2839, 0.0082], abs=5e-5)
    assert found.coefficients / found.se == pytest.approx([0.8857, -3.5483], abs=1e-4)
    assert found.p_value == pytest.approx([0.3948, 0.0046], abs=1e-4)
    assert found.ci95[0] == pytest.approx([-0.3735, 0.8764], abs=1e-4)
    assert (found.coefficients[1] / found.se[1]) ** 2 == pytest.approx(12.5905, abs=1e-3)


def test_latitude_and_year_together(trials):
    """13 trials are too few for two moderators here; twice the same trials are not, and slopes stay what they are."""
    contrasts, moderators, _ = trials
    assert regress(contrasts, moderators) == Untold("13 riders tell it; a slope needs at least 20")
    found = regress_unguarded(contrasts, moderators)
    assert found.tau2 == pytest.approx(0.1108, abs=5e-5)
    assert (found.q, found.q_df) == (pytest.approx(28.3251, abs=5e-5), 10)
    assert found.coefficients[1] == pytest.approx(-0.0280, abs=5e-5)
    assert np.sqrt(found.covariance[1, 1]) == pytest.approx(0.0102, abs=5e-5)


def regress_unguarded(contrasts, moderators):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("analysis.core.pool.transfer.RIDERS_PER_MODERATOR", 1)
        return regress(contrasts, moderators)


def test_the_moment_estimate_is_that_of_dense_algebra(trials):
    """(Q - df) / tr(P) of DerSimonian and Laird's for a regression, in numpy's dense matrices."""
    contrasts, moderators, _ = trials
    x = np.column_stack([np.ones(13), moderators[:, 0]])
    w = np.diag(1.0 / contrasts.variance_m4)
    p = w - w @ x @ np.linalg.solve(x.T @ w @ x, x.T @ w)
    q = contrasts.value_m2 @ p @ contrasts.value_m2
    assert regress(contrasts, moderators[:, :1]).tau2_dl == pytest.approx((q - 11) / np.trace(p), rel=1e-9)


def test_riders_who_come_again_are_one_rider_each():
    """statsmodels' MixedLM with a random level for each rider, at its own estimate of the error."""
    rng = np.random.default_rng(4)
    rider = np.repeat(np.arange(30), 4)
    x = rng.normal(5.0, 2.0, 120)
    y = 1.0 + 0.5 * x + rng.normal(0, 1.2, 30)[rider] + rng.normal(0, 0.7, 120)
    library = MixedLM(y, np.column_stack([np.ones(120), x]), groups=rider).fit(reml=True, method="lbfgs")
    found = regress(plain(y, np.full(120, library.scale), rider), x[:, None])
    assert found.tau2 == pytest.approx(float(library.cov_re[0, 0]), rel=1e-3)
    assert found.coefficients == pytest.approx(library.fe_params, abs=1e-5)
    x = np.column_stack([np.ones(120), x])  # errors by dense algebra: the library's allow for the error's own estimate
    v = library.scale * np.eye(120) + found.tau2 * (rider[:, None] == rider)
    assert found.covariance == pytest.approx(np.linalg.inv(x.T @ np.linalg.solve(v, x)), rel=1e-9)
    assert (found.riders, found.studies, found.df) == (30, 120, 28)


def test_ten_sessions_of_one_rider_are_not_ten_riders():
    rng = np.random.default_rng(5)
    many = plain(rng.normal(size=90), np.ones(90), np.repeat(np.arange(9), 10))
    assert regress(many, rng.normal(size=(90, 1))) == Untold("9 riders tell it; a slope needs at least 10")


def test_whoever_has_no_height_is_left_out():
    rng = np.random.default_rng(6)
    contrasts, height = plain(rng.normal(size=14), np.ones(14)), rng.normal(1.8, 0.1, (14, 1))
    height[:3] = np.nan
    assert regress(contrasts, height).riders == 11
    height[:5] = np.nan
    assert isinstance(regress(contrasts, height), Untold)


def test_riders_of_one_height_tell_no_slope():
    assert regress(plain(np.arange(12.0), np.ones(12)), np.full((12, 1), 1.8)) == Untold(ALIKE)


def test_a_slope_is_in_the_unit_of_what_it_is_told_by():
    rng = np.random.default_rng(7)
    contrasts, height_m = plain(rng.normal(size=20), np.ones(20)), rng.normal(1.8, 0.1, (20, 1))
    metres, centimetres = regress(contrasts, height_m), regress(contrasts, 100.0 * height_m)
    assert metres.coefficients[1] == pytest.approx(100.0 * centimetres.coefficients[1], rel=1e-6)
    assert metres.p_value[1] == pytest.approx(centimetres.p_value[1], rel=1e-6)


def test_kinds_of_bike_become_columns_and_rare_ones_are_left_out():
    rider = np.arange(24)
    kinds = ["road"] * 12 + ["time trial"] * 10 + ["track"] * 2
    names, columns = kinds_as_columns(kinds, rider)
    assert names == ("road", "time trial")
    assert np.isnan(columns[22:]).all()
    rng = np.random.default_rng(8)
    value = rng.normal(size=24)
    found = regress(plain(value, np.ones(24)), columns, tau2=0.0)
    assert found.coefficients[1] == pytest.approx(value[12:22].mean() - value[:12].mean())


def test_weights_make_the_slope_and_know_no_value():
    arms = simulated(9, riders=40, sessions=3, products=3)
    contrasts = contrasts_of(arms, 1, 0)
    x = np.random.default_rng(9).normal(size=(contrasts.study.size, 1))
    found = regress(contrasts, x)
    weights = slope_weights(contrasts, x, found.tau2)
    assert isinstance(found, Regression)
    assert weights @ contrasts.value_m2 == pytest.approx(found.coefficients[1:])
    assert weights.sum() == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    "shape", [{"riders": 12}, {"riders": 30, "sessions": 4, "within": True}], ids=["few", "within"]
)
def test_intervals_hold_the_slope(shape):
    """A short share of tests/load/slope_coverage.py: 150 intervals have a standard error of 0.018."""
    assert coverage(150, 1, **shape) == pytest.approx(0.95, abs=0.036)

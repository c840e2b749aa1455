"""Pooling against published figures, to their printed digits.

Sources of the data: tests/references/networks/SOURCES.md. Printed results: Senn et al. (2013) as refitted in public
documentation of the arm-level data (fixed, REML, P-scores); White et al.'s and Krahn et al.'s split of Q (2012, 2013)
recomputed; Hasselblad (1998) by REML; Viechtbauer (2010) p. 14-16; Raudenbush (2009) tables 16.2 and 16.3;
DerSimonian & Kacker (2007) tables 3 and 4. Tolerance: half a unit of the last printed digit, doubled where one source
rounds its inputs.
"""

import math

import numpy as np
import pytest

from analysis.core.pool.fit import fit
from analysis.core.pool.standings import pool
from tests.analysis.core.pool.networks import arms, bcg, clasp, expectancy, senn, smoking


def rows(standings):
    return {row.product: row for row in standings.products}


SENN = {  # effect, standard error, P-score: REML
    "acarbose": (-0.8414, 0.2384, 0.519),
    "benfluorex": (-0.7369, 0.2776, 0.438),
    "metformin": (-1.1284, 0.1494, 0.786),
    "miglitol": (-0.9499, 0.2253, 0.614),
    "pioglitazone": (-1.1294, 0.2119, 0.778),
    "rosiglitazone": (-1.2337, 0.1235, 0.898),
    "sitagliptin": (-0.5700, 0.3414, 0.329),
    "sulfonylurea": (-0.4175, 0.2326, 0.207),
    "vildagliptin": (-0.7000, 0.3408, 0.420),
    "placebo": (0.0, 0.0, 0.012),
}


@pytest.mark.parametrize("product", SENN)
def test_diabetes_by_reml(product):
    row = rows(pool(senn(), reference="placebo"))[product]
    effect, error, score = SENN[product]
    assert (row.effect_m2, row.se_m2) == pytest.approx((effect, error), abs=1e-4)
    assert row.score == pytest.approx(score, abs=5e-4)


def test_diabetes_heterogeneity_and_its_split_over_designs():
    found = pool(senn(), reference="placebo")
    assert (found.q, found.df) == (pytest.approx(96.9841, abs=5e-5), 18)
    assert found.tau_m2**2 == pytest.approx(0.0999, abs=5e-5)
    assert found.tau_dl_m2**2 == pytest.approx(0.108717, abs=1e-5)
    assert found.i2 == pytest.approx(0.814, abs=5e-4)
    assert (found.q_within, found.df_within) == (pytest.approx(74.46, abs=0.015), 11)
    assert (found.q_between, found.df_between) == (pytest.approx(22.53, abs=0.005), 7)
    assert found.inconsistency_p == pytest.approx(0.0021, abs=5e-5)


FIXED = {
    "acarbose": (-0.8273, 0.1085),
    "benfluorex": (-0.9051, 0.1271),
    "metformin": (-1.1140, 0.0596),
    "miglitol": (-0.9438, 0.1269),
    "pioglitazone": (-1.0663, 0.0758),
    "rosiglitazone": (-1.2019, 0.0477),
    "sulfonylurea": (-0.4394, 0.0915),
}


@pytest.mark.parametrize("product", FIXED)
def test_diabetes_with_a_common_effect(product):
    given = senn()
    fitted = fit(given, given.products.index("placebo"))
    at = fitted.place[given.products.index(product)]
    found = fitted.zero.effects[at], math.sqrt(fitted.zero.covariance[at, at])
    assert found == pytest.approx(FIXED[product], abs=1e-4)


def test_diabetes_between_two_drugs():
    row = rows(pool(senn(), reference="rosiglitazone"))["metformin"]
    assert (row.effect_m2, row.se_m2) == pytest.approx((0.1053, 0.1600), abs=1e-4)


def test_smoking_by_reml():
    found = pool(smoking(), reference="no_contact")
    got = {row.product: (row.effect_m2, row.se_m2) for row in found.products}
    assert found.tau_m2**2 == pytest.approx(0.4324, abs=5e-5)
    assert found.tau_dl_m2**2 == pytest.approx(0.587090, abs=1e-5)
    assert (found.q, found.df) == (pytest.approx(202.3334, abs=5e-5), 23)
    assert (found.q_within, found.df_within) == (pytest.approx(187.3484, abs=5e-5), 16)
    assert (found.q_between, found.df_between) == (pytest.approx(14.9849, abs=5e-5), 7)
    assert got["self_help"] == pytest.approx((0.3888, 0.3221), abs=5e-5)
    assert got["ind_counseling"] == pytest.approx((0.6864, 0.1904), abs=5e-5)
    assert got["grp_counseling"] == pytest.approx((0.8438, 0.3641), abs=5e-5)


def test_vaccine_with_hartung_and_knapp_and_a_prediction():
    found = pool(bcg(), reference="none")
    row = rows(found)["vaccine"]
    assert found.tau_m2**2 == pytest.approx(0.313243, abs=1e-6)
    assert found.tau_dl_m2**2 == pytest.approx(0.308760, abs=1e-6)
    assert found.q == pytest.approx(152.2330, abs=5e-5)
    assert (row.effect_m2, row.se_m2) == pytest.approx((-0.714532, 0.179782), abs=1e-6)
    assert found.interval_method == "hartung-knapp"
    assert row.ci95_m2 == pytest.approx((-1.1084, -0.3206), abs=5e-5)
    assert row.prediction95_m2 == pytest.approx((-2.0084, 0.5793), abs=5e-5)  # t(13 riders - 2 products)


def test_teacher_expectancy_with_hardly_any_heterogeneity():
    found = pool(expectancy(), reference="not")
    row = rows(found)["taught"]
    assert (found.q, found.df) == (pytest.approx(35.8295, abs=5e-5), 18)
    assert (found.tau_m2**2, found.tau_dl_m2**2) == pytest.approx((0.0188, 0.0259), abs=5e-5)
    assert (row.effect_m2, row.se_m2) == pytest.approx((0.0837, 0.0516), abs=5e-5)
    assert row.ci95_m2 == pytest.approx((-0.0457, 0.2131), abs=2e-4)


def test_six_trials_of_aspirin():
    found = pool(clasp(), reference="placebo")
    row = rows(found)["aspirin"]
    assert (found.tau_m2, found.tau_dl_m2) == pytest.approx((0.1843, 0.2323), abs=5e-5)
    assert (row.effect_m2, row.se_m2) == pytest.approx((-0.2980, 0.1343), abs=5e-5)


def triangle():
    """A - B -.010 (.004), B - C .006 (.003), A - C -.002 (.005), by hand."""
    given = []
    for study, (one, other, value, error) in enumerate(
        [("A", "B", -0.010, 0.004), ("B", "C", 0.006, 0.003), ("A", "C", -0.002, 0.005)]
    ):
        half = error / math.sqrt(2)
        given += [(str(study), one, value, half), (str(study), other, 0.0, half)]
    return arms(given)


def test_a_triangle_by_hand():
    found = pool(triangle(), reference="C")
    got = rows(found)
    assert (found.q, found.df, found.tau_m2) == (pytest.approx(0.08, abs=1e-8), 1, 0.0)
    assert (got["A"].effect_m2, got["A"].se_m2) == pytest.approx((-0.0030, 0.00353553), abs=1e-8)
    assert (got["B"].effect_m2, got["B"].se_m2) == pytest.approx((0.00636, 0.00271662), abs=1e-8)
    assert [got[name].score for name in "ACB"] == pytest.approx([0.899828, 0.594230, 0.005942], abs=1e-6)
    assert (got["A"].direct_m2, got["A"].indirect_m2) == pytest.approx((-0.002, -0.004), abs=1e-9)
    assert (got["A"].direct_se_m2, got["A"].indirect_se_m2) == pytest.approx((0.005, 0.005), abs=1e-9)


def test_the_probability_of_fastest_by_a_million_draws():
    given = senn()
    found = pool(given, reference="placebo")
    fitted = fit(given, given.products.index("placebo"))
    draws = np.random.default_rng(3).multivariate_normal(
        fitted.best.effects, fitted.best.covariance, 1_000_000, check_valid="ignore"
    )
    won = np.bincount(draws.argmin(axis=1), minlength=10) / 1e6
    got = {row.product: row.p_best for row in found.products}
    assert [got[given.products[code]] for code in fitted.members] == pytest.approx(won, abs=0.003)

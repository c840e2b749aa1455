"""Propagation of uncertainty against the published examples of the guide, and against Monte Carlo."""

import math

import numpy as np
import pytest
from statsmodels.stats.weightstats import ttest_ind

from analysis.core import leastsquares
from analysis.core.intervals import t_quantile, t_two_sided_p
from analysis.core.propagate import effective_degrees_of_freedom, propagate, sensitivities


def impedance(readings):
    """Resistance, reactance and impedance from voltage, current and phase."""
    voltage, current, phase = readings
    return voltage / current * np.array([math.cos(phase), math.sin(phase), 1.0])


@pytest.fixture
def simultaneous(reference_table):
    table = reference_table("gum_h2")
    return np.array([table["V_volt"], table["I_mA"] / 1e3, table["phi_rad"]])


def test_gum_h2_correlated_inputs_give_correlated_outputs(simultaneous):
    # JCGM 100:2008, H.2, tables H.2 to H.4: R, X, Z and their correlations; u(X) is rounded from 0.29558 to 0.295
    mean, u = simultaneous.mean(axis=1), simultaneous.std(axis=1, ddof=1) / math.sqrt(5)
    found = propagate(sensitivities(impedance, mean, u), u, np.corrcoef(simultaneous))
    assert impedance(mean) == pytest.approx([127.732, 219.847, 254.260], abs=5e-4)  # print
    assert found.uncertainty == pytest.approx([0.071, 0.295, 0.236], abs=1e-3)
    assert found.correlation[[0, 0, 1], [1, 2, 2]] == pytest.approx([-0.588, -0.485, 0.993], abs=6e-4)


def test_gum_h2_without_the_correlations_is_wrong_both_ways(simultaneous):
    mean, u = simultaneous.mean(axis=1), simultaneous.std(axis=1, ddof=1) / math.sqrt(5)
    found = propagate(sensitivities(impedance, mean, u), u)
    assert found.uncertainty == pytest.approx([0.19454, 0.20091, 0.20408], abs=6e-6)  # own arithmetic


def test_gum_h3_a_correction_from_a_fitted_line(reference_table):
    # JCGM 100:2008, H.3: b(30 C) = -0.1494 with u = 0.0041 from y1, y2 and r = -0.930
    table = reference_table("gum_h3")
    design = np.column_stack([np.ones(11), table["t_degC"] - 20])
    line = leastsquares.solve(design, table["b_degC"])  # the estimator's own
    covariance = line.covariance * line.squares / 9
    u = np.sqrt(np.diag(covariance))
    found = propagate(np.array([1.0, 10.0]), u, covariance / np.outer(u, u))
    assert line.theta @ [1, 10] == pytest.approx(-0.1493768127, abs=1e-9)
    assert found.uncertainty[0] == pytest.approx(0.0041385958, abs=1e-9)
    assert propagate(np.array([1.0, 10.0]), u).uncertainty[0] == pytest.approx(0.0072728804, abs=1e-9)


def test_gum_h1_end_gauge():
    # JCGM 100:2008, H.1: 25, 9.7, 2.9, 16.6 nm with 18, 25.6, 50, 2 degrees of freedom
    parts, degrees = np.array([25, 9.7, 2.9, 16.6]), np.array([18, 25.6, 50, 2])
    found = effective_degrees_of_freedom(parts, degrees)
    assert propagate(np.ones(4), parts).uncertainty[0] == pytest.approx(32, abs=0.5)
    assert found == pytest.approx(16.7, abs=0.1)  # print; the rounded parts give 16.76
    assert t_quantile(0.995, math.floor(found)) == pytest.approx(2.92, abs=5e-3)


def test_gum_g4_three_relative_uncertainties():
    # JCGM 100:2008, G.4.1 (from memory; recomputed): u_c 1.03 %, 19.0 degrees of freedom, k = 2.09
    found = effective_degrees_of_freedom(np.array([0.25, 0.57, 0.82]), np.array([9, 4, 14]))
    assert found == pytest.approx(18.998742, abs=5e-7)
    assert t_quantile(0.975, 19.0) == pytest.approx(2.09, abs=5e-3)


# two samples in which the variances differ: Student (1908), and two sets of fifteen, ten and twenty (from memory);
# t, df and p recomputed by scipy.stats.ttest_ind(equal_var=False)
WELCH = {
    "sleep": (-1.860813467, 17.776473516, 0.079394140),
    "alike": (-2.455356398, 24.988529290, 0.021378001),
    "apart": (-1.565433524, 9.904741249, 0.148841697),
}


@pytest.mark.parametrize("name", WELCH)
def test_welchs_test_has_its_t_and_degrees(reference_text_table, name):
    """Welch (1947), Biometrika 34:28-35; the same figures once more from statsmodels' ttest_ind(usevar="unequal")."""
    table = reference_text_table("welch_samples")
    first, second = (table["value"][(table["example"] == name) & (table["sample"] == k)] for k in (1, 2))
    errors = np.array([x.std(ddof=1) / math.sqrt(x.size) for x in (first, second)])
    t = (first.mean() - second.mean()) / propagate(np.ones(2), errors).uncertainty[0]
    df = effective_degrees_of_freedom(errors, np.array([first.size - 1, second.size - 1]))
    told = (t, df, t_two_sided_p(t, df))
    assert told == pytest.approx(WELCH[name], abs=1e-8)  # printed to nine decimals
    general = ttest_ind(first, second, usevar="unequal")
    assert told == pytest.approx((general[0], general[2], general[1]), rel=1e-10)


def test_a_known_part_adds_no_doubt():
    # own arithmetic, agreeing with a public uncertainty library: 0.57 (df 9) with 0.25 (df infinite) has 12.8
    found = effective_degrees_of_freedom(np.array([0.57, 0.25]), np.array([9, np.inf]))
    assert found == pytest.approx(12.8, abs=0.05)
    assert effective_degrees_of_freedom(np.array([1.0]), np.array([np.inf])) == np.inf
    assert t_quantile(0.975, np.inf) == pytest.approx(1.959963985, abs=5e-10)  # normal quantile


# Drag area at a steady speed on the level: P, eta, v, w, rho, m, Crr, grade; air speed moves with the speed
POINT = np.array([250.0, 0.977, 11.0, 0.0, 1.2, 80.0, 0.004, 0.0])
SPREAD = np.array([2.5, 0.005, 0.011, 0.1, 0.0036, 0.2, 0.0002, 0.0001])


def drag_area(x):
    power, eta, speed, wind, density, mass, crr, grade = x
    cosine = 1 / np.sqrt(1 + grade**2)
    weight = mass * 9.80665 * cosine * (crr + grade)
    return 2 * (eta * power / speed - weight) / (density * (speed + wind) ** 2)


def test_drag_area_from_steady_riding_carries_the_worked_uncertainty():
    # own arithmetic in 30 digits, JCGM 100 eq. 10; 1e-3: these differences span one u, the figures are tangents
    found = propagate(sensitivities(drag_area, POINT, SPREAD), SPREAD)
    assert drag_area(POINT) == pytest.approx(0.262622829952, rel=1e-11)
    assert np.abs(found.contributions[0]) == pytest.approx(
        [3.058477e-3, 1.565239e-3, 8.310934e-4, 4.774961e-3, 7.878685e-4, 1.080623e-4, 2.161245e-3, 1.080623e-3],
        rel=1e-3,
    )
    assert found.uncertainty[0] == pytest.approx(0.00646269, rel=1e-3)


def monte_carlo(model, inputs, covariance, draws=200_000, seed=1):
    """Propagation of distributions, JCGM 101:2008, 7.2: standard deviation of the model over normal inputs."""
    rng = np.random.default_rng(seed)
    return np.std(model(rng.multivariate_normal(inputs, covariance, draws).T), axis=-1)


def test_first_order_agrees_with_monte_carlo():
    # 1 %: second-order terms of the wind are 0.2 %, the draws' own error 0.16 %
    found = propagate(sensitivities(drag_area, POINT, SPREAD), SPREAD)
    assert found.uncertainty[0] == pytest.approx(monte_carlo(drag_area, POINT, np.diag(SPREAD**2)), rel=0.01)


def test_first_order_agrees_with_monte_carlo_on_correlated_inputs(simultaneous):
    mean, covariance = simultaneous.mean(axis=1), np.cov(simultaneous) / 5
    u = np.sqrt(np.diag(covariance))
    found = propagate(sensitivities(impedance, mean, u), u, np.corrcoef(simultaneous))
    drawn = monte_carlo(
        lambda x: x[0] / x[1] * np.array([np.cos(x[2]), np.sin(x[2]), np.ones_like(x[2])]), mean, covariance
    )
    assert found.uncertainty == pytest.approx(drawn, rel=0.01)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: propagate(np.ones(2), np.ones(2), np.array([[1, 0.5], [0.4, 1]])), "correlation must be symmetric"),
        (lambda: propagate(np.ones(3), np.ones(3), np.full((3, 3), -0.9) + 1.9 * np.eye(3)), "contradict each other"),
        (
            lambda: effective_degrees_of_freedom(np.ones(2), np.array([3, 0])),
            "degrees of freedom must be above 0; got 0",
        ),
        (lambda: sensitivities(drag_area, POINT, 0 * SPREAD), "uncertainties must be above 0 and finite; got 0"),
    ],
)
def test_what_cannot_be_propagated_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()

"""Quantiles against published tables: Student, Dunnett, power of the t test, equivalence."""

import numpy as np
import pytest

from analysis.core.intervals import dunnett_quantile, power_of_t, t_quantile, t_two_sided_p


def test_simultaneous_critical_values_are_dunnetts(reference_table):
    for df, *printed in reference_table("dunnett_two_sided"):
        own = [dunnett_quantile(np.full((k, k), 0.5) + 0.5 * np.eye(k), df) for k in (2, 3, 4, 5)]
        assert own == pytest.approx(printed, abs=0.0051)  # printed to two decimals


def test_one_contrast_needs_no_more_than_students_t():
    assert dunnett_quantile(np.eye(1), 8) == pytest.approx(2.306004, abs=1e-6)  # t(0.975, 8), any table


def test_dunnetts_fabric_example_has_its_limits():
    """Dunnett (1955): s^2 = 19, df 8, three treatments of three; limits +-10.25 (from memory, recomputed)."""
    half = dunnett_quantile(np.full((3, 3), 0.5) + 0.5 * np.eye(3), 8) * np.sqrt(19 * 2 / 3)
    assert half == pytest.approx(10.25, abs=0.01)


def test_students_sleep_data_have_their_p_value():
    """Student (1908), paired: t = -4.062127683, df 9, p = 0.002832890 (R manual, t.test; from memory)."""
    assert t_two_sided_p(-4.062127683, 9) == pytest.approx(0.002832890, abs=1e-8)


def test_truncated_degrees_of_freedom_take_the_gums_factor():
    assert t_quantile(0.995, 16) == pytest.approx(2.92, abs=0.005)  # JCGM 100:2008, H.1


@pytest.mark.parametrize(
    ("d", "n", "power"), [(0.5, 64, 0.801460), (1.0, 10, 0.562007), (2.0, 4, 0.656876), (3.0, 3, 0.782554)]
)
def test_power_of_two_samples_is_that_of_the_noncentral_t(d, n, power):
    """statsmodels 0.15 TTestIndPower; Cohen (1988) table 2.4.1 rests on the same integral."""
    assert power_of_t(d * np.sqrt(n / 2), 2 * n - 2) == pytest.approx(power, abs=1e-5)

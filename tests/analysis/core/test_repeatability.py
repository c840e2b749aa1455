"""A studio's repeatability from earlier sessions, against the worked examples of ISO 5725-2 and ASTM E 691."""

import numpy as np
import pytest
from scipy.stats import ttest_ind

from analysis.core.repeatability import cells_of, cochran_critical, most_scattered, pooled
from analysis.core.types import Instruments, RunResult, SessionResult


def cells(table, **where):
    """The results of every laboratory at one level: a laboratory stands for a setup of a session."""
    ((name, value),) = where.items()
    rows = table[table[name] == value]
    return [rows["value"][rows["lab"] == lab] for lab in np.unique(rows["lab"])]


COAL = [(1, 0.015, 0.0151), (2, 0.029, 0.0288), (3, 0.017, 0.0171), (4, 0.026, 0.0261)]


@pytest.mark.parametrize(("level", "printed", "exact"), COAL)
def test_sulfur_in_coal_repeats_as_printed(reference_table, level, printed, exact):
    """ISO 5725-2, annex B.1, unequal numbers: s_r printed to three decimals (from memory), recomputed to four."""
    found = pooled(cells(reference_table("iso5725_coal"), level=level))
    assert found.sd_m2 == pytest.approx(printed, abs=0.0005)
    assert found.sd_m2 == pytest.approx(exact, abs=0.00005)


GLUCOSE = {"A": (1.0632, 0.3630), "D": (2.6251, 0.3977), "E": (3.9350, 0.6813)}


@pytest.mark.parametrize("material", GLUCOSE)
def test_glucose_in_serum_repeats_as_printed(reference_text_table, material):
    """ASTM E 691-99: s_r of its precision table, four decimals (from memory); C recomputed with numpy to four."""
    s_r, share = GLUCOSE[material]
    labs = cells(reference_text_table("e691_glucose"), material=material)
    assert pooled(labs).sd_m2 == pytest.approx(s_r, abs=0.00005)
    assert pooled(labs).df == 16  # eight laboratories of three
    assert most_scattered(labs).share == pytest.approx(share, abs=0.00005)


def test_one_laboratory_scatters_more_than_chance_allows(reference_text_table):
    """Material E: the second laboratory's k is 2.33, over the 0.5 % value 2.06 of ASTM E 691 (from memory)."""
    worst = most_scattered(cells(reference_text_table("e691_glucose"), material="E"))
    assert worst.cell == 1
    assert worst.share > worst.critical
    assert worst.critical == pytest.approx(0.615, abs=0.0005)


# ISO 5725-2, table 4: p, n, 5 %, 1 % (computed with scipy.stats.f; printed values, from memory, differ by 0.001)
COCHRAN = [
    (2, 2, 0.998, 1.000), (3, 3, 0.871, 0.942), (5, 4, 0.598, 0.696), (6, 5, 0.480, 0.563),
    (8, 3, 0.516, 0.615), (10, 2, 0.602, 0.717), (20, 6, 0.174, 0.205),
]  # fmt: skip


@pytest.mark.parametrize(("p", "n", "five", "one"), COCHRAN)
def test_critical_shares_are_cochrans(p, n, five, one):
    assert cochran_critical(p, n, 0.05) == pytest.approx(five, abs=0.0006)
    assert cochran_critical(p, n, 0.01) == pytest.approx(one, abs=0.0006)


def test_two_cells_pool_as_in_the_t_test_of_a_general_library():
    """scipy.stats.ttest_ind, equal variances: its standard error is s_r sqrt(1/n + 1/m), its df those of the pool."""
    first, second = np.array([0.2401, 0.2412, 0.2395]), np.array([0.2388, 0.2370, 0.2379, 0.2391])
    told, found = ttest_ind(first, second), pooled([first, second])
    t = (first.mean() - second.mean()) / (found.sd_m2 * np.sqrt(1 / 3 + 1 / 4))
    assert (t, found.df) == (pytest.approx(told.statistic, rel=1e-12), told.df)


def test_a_setup_ridden_once_says_nothing():
    assert pooled([np.array([0.24]), np.array([0.25])]) is None
    assert pooled([]) is None
    assert pooled([np.array([0.24]), np.array([0.25, 0.251])]).df == 1
    assert most_scattered([np.array([0.24]), np.array([0.25, 0.251])]) is None


def test_cells_are_the_usable_runs_of_each_setup():
    def ridden(number, setup, area):
        return RunResult(number, setup, area, None, None, None, None, None, None)

    runs = (ridden(1, "A", 0.24), ridden(2, "B", 0.23), ridden(3, "B", None), ridden(4, "A", 0.241))
    told = cells_of(SessionResult(runs, (), (), Instruments(None, None, None, None), (), (), {}))
    assert {label: list(areas) for label, areas in told.items()} == {"A": [0.24, 0.241], "B": [0.23]}

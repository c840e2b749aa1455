"""Counts and slopes beside a table: right where they are told, and in the ledger like any figure."""

import numpy as np
import pytest

from analysis.core.pool.arms import Arms
from analysis.core.pool.extras import Behind, Column, extras_of
from analysis.core.pool.hiding import Hidden, departure_of, sorted_unknowns
from analysis.core.pool.publish import TELLING
from analysis.core.pool.transfer import contrasts_of, regress

ERROR_M2, TAU_M2, SLOPE = 0.0008, 0.0015, -0.001


@pytest.fixture(autouse=True)
def _generous(monkeypatch):
    """A slope is told of 60 riders here, and not of some hundred only."""
    monkeypatch.setattr("analysis.core.pool.extras.SPEND", 0.20)


def category(riders, *, seed=1):
    """Every rider tested both products once; the difference grows with height."""
    rng = np.random.default_rng(seed)
    height = rng.normal(17.6, 1.0, riders)
    study = np.repeat(np.arange(riders), 2)
    difference = SLOPE * (height - 17.6) + rng.normal(0.0, TAU_M2, riders)
    value = np.column_stack([np.zeros(riders), difference]).ravel() + rng.normal(0.0, ERROR_M2, 2 * riders)
    product = np.tile([0, 1], riders)
    arms = Arms(study, study, product, value, np.full(2 * riders, ERROR_M2), ("old", "new"))
    unknowns, place = sorted_unknowns(study, 2 * study + product)
    hidden = Hidden(unknowns, departure_of(TAU_M2, ERROR_M2**2), ERROR_M2**2)
    columns = [Column("height", "cm", 10.0, np.repeat(height, 2))]
    return Behind(arms, study + 1000, place, columns, TAU_M2, 1.96), hidden


def made(riders, counted=None, **more):
    behind, hidden = category(riders, **more)
    return extras_of(behind, np.array([0, 1]), counted or {}, hidden), behind, hidden


def test_a_count_is_that_of_the_riders_own_differences():
    found, behind, _ = made(60)
    pair = contrasts_of(behind.arms, 1, 0)
    assert found.groups[1].faster == np.count_nonzero(pair.value_m2 < 0.0)
    assert list(found.groups[1].riders) == list(range(1000, 1060))


def test_a_slope_is_that_of_the_regression_at_the_told_tau_rounded():
    found, behind, _ = made(60)
    pair = contrasts_of(behind.arms, 1, 0)
    plain = regress(pair, behind.columns[0].values[pair.rows[0]][:, None], tau2=TAU_M2**2)
    slope = found.slopes[1][0]
    assert slope.slope_m2 == pytest.approx(plain.coefficients[1], abs=5.1e-5)
    assert slope.slope_m2 / 1e-4 == pytest.approx(round(slope.slope_m2 / 1e-4), abs=1e-6)
    half = 2.0017 * np.sqrt(plain.covariance[1, 1])  # t(58), from a table
    assert slope.ci95_m2 == pytest.approx((slope.slope_m2 - half, slope.slope_m2 + half), abs=1e-6)


def test_an_interval_is_of_weights_alone():
    """Other values with the same weights give the same width: it tells nothing of anybody."""
    widths = []
    for shift in (0.0, 0.01):
        behind, hidden = category(60)
        behind.arms.value_m2[1::4] += shift
        slope = extras_of(behind, np.array([0, 1]), {}, hidden).slopes[1][0]
        widths.append(slope.ci95_m2[1] - slope.ci95_m2[0])
    assert widths[0] == pytest.approx(widths[1], abs=1e-9)


def test_what_is_told_is_in_the_ledger_and_makes_the_figures():
    found, behind, hidden = made(60)
    assert len(found.lines) == hidden.count == 2
    assert found.lines[1] @ behind.arms.value_m2 == pytest.approx(found.slopes[1][0].slope_m2, abs=5.1e-5)
    owners = [np.bincount(behind.arms.study, line).round(12) for line in found.lines]
    assert not np.any(owners)  # the level of a study is in nothing


@pytest.mark.parametrize("riders", [9, 11])
def test_few_riders_have_no_count_that_would_tell_too_much(riders):
    found, _, hidden = made(riders)
    assert found.slopes[1][0].slope_m2 is None
    assert (hidden.count, len(found.groups)) == (len(found.lines), len(found.lines))


def test_a_slope_that_would_give_a_rider_away_says_so():
    """One rider far taller than the rest carries the slope alone."""
    behind, hidden = category(14)
    behind.columns[0].values[:] = 17.0
    behind.columns[0].values[:2] = 20.0
    behind.columns[0].values[2] += 0.01
    behind.columns[0].values[3] += 0.01
    assert extras_of(behind, np.array([0, 1]), {}, hidden).slopes[1][0].withheld == TELLING


def test_riders_of_whom_figures_have_told_much_are_not_counted():
    behind, hidden = category(30)
    telling = np.zeros((1, 60))
    telling[0, behind.place[:6]] = [-1.0, 1.0] * 3
    hidden.enter(telling)
    found = extras_of(behind, np.array([0, 1]), {}, hidden)
    assert list(found.groups[1].riders) == list(range(1003, 1030))


def test_a_slope_that_tells_more_than_it_may_of_anyone_waits_for_more_riders(monkeypatch):
    monkeypatch.setattr("analysis.core.pool.extras.SPEND", 0.055)
    assert made(60)[0].slopes[1][0].withheld == TELLING
    assert made(400)[0].slopes[1][0].slope_m2 is not None


def test_nobody_is_counted_twice():
    first, _, _ = made(30)
    found, _, _ = made(30, {1: first.groups[1].riders})
    assert not found.groups

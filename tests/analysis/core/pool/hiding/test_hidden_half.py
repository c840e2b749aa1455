"""What figures tell of a contributor, against hand-made cases and numpy's dense conditioning."""

import numpy as np
import pytest

from analysis.core.pool.arms import Arms
from analysis.core.pool.hiding import Hidden, sorted_unknowns
from analysis.core.pool.weights import arm_weights

ERROR_M4 = 1.5e-6


def pairs(riders, *, departure_m4=0.0):
    """Every rider tested products 0 and 1 once: arms 2 i and 2 i + 1."""
    owner = np.repeat(np.arange(riders), 2)
    unknowns, place = sorted_unknowns(owner, 2 * owner + np.tile([0, 1], riders))
    assert list(place) == list(range(2 * riders))
    return Hidden(unknowns, departure_m4, ERROR_M4)


def mean_of(*chosen, riders):
    line = np.zeros(2 * riders)
    for rider in chosen:
        line[2 * rider : 2 * rider + 2] = [-1.0 / len(chosen), 1.0 / len(chosen)]
    return line[None, :]


@pytest.mark.parametrize("departure_m4", [0.0, 2e-6])
def test_a_mean_of_three_hides_half_from_one_of_them(departure_m4):
    """One knows two others' sum: of each a variance of 1/2 is left, a standard deviation of 0.707."""
    hidden = pairs(3, departure_m4=departure_m4)
    assert hidden.allows(mean_of(0, 1, 2, riders=3), 1.0)
    assert hidden.least() == pytest.approx(0.5**0.5, abs=0.002)


def test_a_mean_of_two_tells_each_the_others():
    assert not pairs(2).allows(mean_of(0, 1, riders=2), 1.0)


def test_one_more_rider_in_the_next_edition_is_refused():
    hidden = pairs(4)
    assert hidden.allows(mean_of(0, 1, 2, riders=4), 1.0)
    assert not hidden.allows(mean_of(0, 1, 2, 3, riders=4), 1.0)


def test_three_more_riders_are_not():
    hidden = pairs(6)
    assert hidden.allows(mean_of(0, 1, 2, riders=6), 1.0)
    assert hidden.allows(mean_of(0, 1, 2, 3, 4, 5, riders=6), 1.0)


def test_what_was_refused_tells_nothing():
    hidden = pairs(4)
    hidden.allows(mean_of(0, 1, riders=4), 1.0)
    assert hidden.least() > 0.99
    assert hidden.allows(mean_of(0, 1, 2, 3, riders=4), 1.0)


def test_the_same_figure_again_tells_little():
    """Each time its rounding is drawn anew; the figure is known to about a hundredth of a rider's spread anyway."""
    hidden = pairs(3)
    for _ in range(5):
        assert hidden.allows(mean_of(0, 1, 2, riders=3), 1.0)


def test_a_figure_may_be_asked_to_tell_less_than_half():
    assert not pairs(3).allows(mean_of(0, 1, 2, riders=3), 0.2)
    assert pairs(8).allows(mean_of(*range(8), riders=8), 0.2)


def test_what_is_left_is_no_more_than_dense_conditioning_says():
    """numpy over every pair of knower and contributor; riders of several studies that share departures."""
    rng = np.random.default_rng(2)
    study = np.repeat(np.arange(24), 2)
    rider = study // 2
    product = np.concatenate([rng.choice(4, 2, replace=False) for _ in range(24)])
    lines = rng.normal(0.0, 1.0, (3, study.size))
    lines -= np.array([[line[study == s].mean() for s in study] for line in lines])
    unknowns, _ = sorted_unknowns(rider, rider * 4 + product)
    hidden = Hidden(unknowns, 1e-6, ERROR_M4)
    hidden.enter(lines)
    same = (rider[:, None] == rider) & (product[:, None] == product)
    prior = ERROR_M4 * np.eye(study.size) + 1e-6 * same
    spread = prior @ lines.T
    left = prior - spread @ np.linalg.solve(lines @ spread + 1e-8 / 12 * np.eye(3), spread.T)
    shares = []
    for knower in range(12):
        known = np.array([np.where(study == s, np.tile([1.0, -1.0], 24), 0.0) for s in (2 * knower, 2 * knower + 1)])
        rest = left - left @ known.T @ np.linalg.solve(known @ left @ known.T, known @ left)
        for other in set(range(12)) - {knower}:
            wanted = np.array([np.where(study == s, np.tile([1.0, -1.0], 24), 0.0) for s in (2 * other, 2 * other + 1)])
            ratio = np.linalg.eigvals(np.linalg.solve(wanted @ prior @ wanted.T, wanted @ rest @ wanted.T))
            shares.append(float(np.sqrt(ratio.real.min())))
    assert hidden.least() <= min(shares) + 1e-9
    assert hidden.least() > 0.5 * min(shares)


@pytest.mark.parametrize("tau2", [0.0, 2.0])
def test_weights_are_those_of_dense_least_squares(tau2):
    """numpy's generalised least squares with a column for every level and product."""
    rng = np.random.default_rng(3)
    study = np.repeat(np.arange(20), 3)
    product = np.concatenate([rng.choice(5, 3, replace=False) for _ in range(20)])
    arms = Arms(study, study % 7, product, rng.normal(size=60), rng.uniform(0.5, 2.0, 60), tuple("abcde"))
    same = (arms.rider[:, None] == arms.rider) & (product[:, None] == product)
    inverse = np.linalg.inv(np.diag(arms.se_m2**2) + tau2 / 2 * same)
    levels, tested = np.eye(20)[study], np.eye(5)[product]
    free = inverse - inverse @ levels @ np.linalg.solve(levels.T @ inverse @ levels, levels.T @ inverse)
    wanted = rng.normal(size=(2, 5))
    assert arm_weights(arms, tau2, wanted) == pytest.approx(wanted @ tested.T @ free, abs=1e-12)

"""Counts of riders: whole groups only, each rider once, so that no difference of two counts is a rider."""

from itertools import combinations

import numpy as np
import pytest

from analysis.core.pool.tallies import (
    EITHER_SIDE,
    FEWEST_COUNTED,
    Group,
    counted_together,
    newcomers,
    own_means,
    tally,
)
from analysis.core.pool.transfer import Contrasts

NOBODY = np.empty(0, np.int64)


def means(differences, riders=None, variances=None):
    count = len(differences)
    every = np.arange(count)
    variance = np.ones(count) if variances is None else np.asarray(variances, float)
    contrasts = Contrasts(every, every, np.asarray(differences, float), variance, (every, every))
    return own_means(contrasts, every if riders is None else np.asarray(riders))


def group_of(given, counted):
    new = newcomers(given, counted)
    return None if new is None else counted_together(given, new)


def faster(count, of):
    return [-1.0] * count + [1.0] * (of - count)


@pytest.mark.parametrize(("count", "of"), [(7, 12), (2, 10), (8, 10)])
def test_seven_of_twelve(count, of):
    group = group_of(means(faster(count, of)), NOBODY)
    assert (group.faster, group.riders.size) == (count, of)
    assert tally([group], np.arange(of)) == (count, of)


@pytest.mark.parametrize("count", [0, 1, 11, 12])
def test_none_all_and_all_but_one_are_never_told(count):
    """Not with others later either: that would tell it after all."""
    group = group_of(means(faster(count, 12)), NOBODY)
    assert group.faster is None
    assert tally([group], np.arange(12)) is None
    assert tally([group, Group(np.arange(12, 24), 5)], np.arange(24)) == (5, 12)


def test_nine_riders_are_not_counted():
    assert group_of(means(faster(4, 9)), NOBODY) is None


def test_a_rider_with_many_studies_counts_once_by_the_mean_of_the_better_ones():
    """Rider 0: -1 with a variance of 1 against +2 with 4: the mean is -0.4."""
    given = means([-1.0, 2.0, *faster(3, 10)], [0, 0, *range(1, 11)], [1.0, 4.0, *[1.0] * 10])
    assert given.differences_m2[0] == pytest.approx(-0.4)
    assert group_of(given, NOBODY).faster == 4


def test_one_more_rider_changes_no_count():
    first = group_of(means(faster(7, 12)), NOBODY)
    assert group_of(means(faster(8, 13)), first.riders) is None


def test_a_rider_who_changed_sides_changes_no_count():
    first = group_of(means(faster(7, 12)), NOBODY)
    assert group_of(means(faster(9, 12)), first.riders) is None
    assert tally([first], np.arange(12)) == (7, 12)


def test_when_one_of_a_group_leaves_all_of_it_is_told_no_more():
    both = [Group(np.arange(10), 4), Group(np.arange(10, 22), 9)]
    assert tally(both, np.arange(22)) == (13, 22)
    assert tally(both, np.arange(1, 22)) == (9, 12)
    assert tally(both, np.arange(1, 21)) is None


def test_the_same_riders_with_the_products_turned_round():
    assert Group(np.arange(10), 4).turned().faster == 6


def test_every_difference_of_two_counts_is_of_ten_riders_at_least():
    """Riders come and leave at random over 40 editions; whatever was told, told less told is whole groups."""
    rng = np.random.default_rng(1)
    groups, seen = [], []
    riders, value = NOBODY, rng.normal(size=400)
    for _ in range(40):
        riders = np.union1d(riders[rng.random(riders.size) > 0.01], rng.integers(0, 400, 6))
        counted = np.concatenate([NOBODY, *(group.riders for group in groups)])
        new = group_of(means(value[riders], riders), counted)
        groups += [new] if new is not None else []
        there = [np.isin(group.riders, riders).all() and group.faster is not None for group in groups]
        seen.append(frozenset(np.flatnonzero(there).tolist()))
    assert len(set(seen)) > 5
    for one, other in combinations(set(seen), 2):
        for at in one ^ other:
            assert groups[at].riders.size >= FEWEST_COUNTED
            assert EITHER_SIDE <= groups[at].faster <= groups[at].riders.size - EITHER_SIDE
    together = np.concatenate([group.riders for group in groups])
    assert np.unique(together).size == together.size

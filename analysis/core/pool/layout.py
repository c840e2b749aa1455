"""Arms laid out for summing: sorted by study, grouped by size, tied studies apart."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.core.arrays import Array
from analysis.core.pool.arms import Arms, Codes, order_of
from analysis.core.pool.linked import Linked, lay_blocks, linked_studies
from analysis.core.pool.sums import MOST_PAIRED, Group, Paired, Sums, Twos, add_wide

MARKS_PER_ROW = 64  # pairs of rider and product that may be marked one byte each; beyond it they are sorted


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """Arms of the studies that compare something, ready to be summed at any tau2."""

    arms: Arms  # sorted by study
    studies: int
    riders: int
    several: Codes  # rows of riders with several studies, none where nobody repeats a product
    twos: Twos
    paired: Paired
    wide: tuple[Group, ...]
    linked: Linked

    def sums(self, tau2: float) -> Sums:
        """Sum over all studies at this tau2."""
        sums = Sums.empty(len(self.arms.products))
        self.twos.add(sums, tau2)
        self.paired.add(sums, tau2)
        for group in self.wide:
            add_wide(sums, group, tau2)
        self.linked.add(sums, tau2)
        return sums.close()

    def centred(self, effects: Array) -> Network:
        """The same with these effects taken from the values, so that no digits are lost to large ones."""
        return lay_out(replace(self.arms, value_m2=self.arms.value_m2 - effects[self.arms.product]))


def lay_out(arms: Arms) -> Network:
    """Sort and group arms; studies with one arm are left out.

    Parameters
    ----------
    arms : Arms
        Values with their errors [any unit].

    Returns
    -------
    Network
        The same, by study [unit of the arms].
    """
    if np.any(arms.study[1:] < arms.study[:-1]):
        arms = arms.take(order_of(arms.study))
    start = _starts(arms.study)
    size = np.diff(np.r_[start, arms.study.size])
    if np.any(size == 1):
        arms = arms.take(np.repeat(size > 1, size))
        start, size = _starts(arms.study), size[size > 1]
    # levels of studies may be large: their first arm goes exactly before anything is averaged
    arms = replace(arms, value_m2=arms.value_m2 - np.repeat(arms.value_m2[start], size))
    rider = arms.rider[start]
    tested = np.bincount(rider)
    several = repeats(arms, tested[rider] > 1, size) if tested.max(initial=0) > 1 else start[:0]
    tied, linked = _tied(arms, start, size, several)
    twos = _twos(arms, start[np.flatnonzero(~tied & (size == 2))])
    groups = _groups(arms, start, size, ~tied & (size > 2))
    paired = Paired([group for group in groups if len(group.product) <= MOST_PAIRED], len(arms.products))
    wide = tuple(group for group in groups if len(group.product) > MOST_PAIRED)
    return Network(arms, start.size, int(np.count_nonzero(tested)), several, twos, paired, wide, linked)


def _starts(study: Codes) -> Codes:
    return np.flatnonzero(np.r_[study.size > 0, study[1:] != study[:-1]][: study.size])


def _twos(arms: Arms, first: Codes) -> Twos:
    """Studies of two arms by their first rows, whose values are zero here."""
    second = first + 1
    variance = arms.se_m2[first] ** 2 + arms.se_m2[second] ** 2
    return Twos(arms.product[first] * len(arms.products) + arms.product[second], -arms.value_m2[second], variance)


def _groups(arms: Arms, start: Codes, size: Codes, free: np.ndarray) -> list[Group]:
    groups = []
    for k in np.flatnonzero(np.bincount(size[free])):
        first = start[np.flatnonzero(free & (size == k))]  # several times as fast as by the mask itself
        group = Group(np.empty((k, first.size), np.int64), *(np.empty((k, first.size)) for _ in range(2)))
        for row in range(k):  # a row of all studies at once: a table of all their rows would leave the cache
            at = first + row
            np.take(arms.product, at, out=group.product[row], mode="clip")
            np.take(arms.value_m2, at, out=group.value[row], mode="clip")
            np.take(arms.se_m2, at, out=group.variance[row], mode="clip")
        np.square(group.variance, out=group.variance)
        groups.append(group)
    return groups


def _tied(arms: Arms, start: Codes, size: Codes, rows: Codes) -> tuple[np.ndarray, Linked]:
    """Which studies are tied to others by their rider's repeated products, and their blocks."""
    tied = np.zeros(start.size, np.bool_)
    if not rows.size:
        return tied, lay_blocks(arms, rows, rows)
    cell, at = _cells(arms, rows)
    if not at.size:
        return tied, lay_blocks(arms, at, at)
    study = np.repeat(np.arange(start.size), size)
    label = np.arange(start.size)
    label[: int(study[at].max()) + 1] = linked_studies(study[at], cell[at])
    tied[study[at]] = True
    # block after block: what is gathered for one lies near together
    which = np.flatnonzero(tied)
    which = which[order_of(label[which])]
    chosen = _rows(start[which], size[which])
    return tied, lay_blocks(arms.take(chosen), label[study[chosen]], cell[chosen])


def _cells(arms: Arms, rows: Codes) -> tuple[Codes, Codes]:
    """Cell of every one of these rows, and those whose cell stands in several of them, by cell."""
    key = arms.rider * len(arms.products) + arms.product
    order = rows[order_of(key[rows])]
    ordered = key[order]
    new = np.flatnonzero(np.r_[True, ordered[1:] != ordered[:-1]])
    count = np.diff(np.r_[new, order.size])
    key[order] = np.repeat(np.arange(new.size), count)
    return key, order[np.flatnonzero(np.repeat(count > 1, count))]


def _rows(start: Codes, size: Codes) -> Codes:
    """Rows of some studies, in their order."""
    end = np.cumsum(size)
    return np.repeat(start - end + size, size) + np.arange(end[-1])


def repeats(arms: Arms, several: np.ndarray, size: Codes) -> Codes:
    """Rows of riders with several studies, none where no rider repeats a product.

    Parameters
    ----------
    arms : Arms
        Sorted by study.
    several : ndarray of bool, shape (studies,)
        Whether its rider has other studies [1].
    size : ndarray, shape (studies,)
        Number of rows of every study [1].

    Returns
    -------
    ndarray
        Row numbers [1].
    """
    rows = np.flatnonzero(np.repeat(several, size))
    products = len(arms.products)
    cells = (int(arms.rider.max(initial=0)) + 1) * products
    if cells <= MARKS_PER_ROW * rows.size:
        marked = np.zeros(cells, np.bool_)
        marked[arms.rider[rows] * products + arms.product[rows]] = True
        if np.count_nonzero(marked) == rows.size:
            return rows[:0]
    return rows


def counts(network: Network) -> tuple[Codes, Codes]:
    """Riders and studies behind every product.

    Parameters
    ----------
    network : Network

    Returns
    -------
    tuple of ndarray
        Riders and studies by product [1].
    """
    arms, rows = network.arms, network.several
    products = len(arms.products)
    studies = np.bincount(arms.product, minlength=products)
    key = np.sort(arms.rider[rows] * products + arms.product[rows])
    again = key[1:][key[1:] == key[:-1]] % products
    return studies - np.bincount(again, minlength=products), studies

"""Where the evidence agrees: within and between designs, directly compared and through others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.arrays import Array
from analysis.core.pool.arms import Arms, Codes, PoolRefused, order_of
from analysis.core.pool.fit import DIFFER, Fit
from analysis.core.pool.layout import lay_out

MOST_KEY = 1 << 62
AT_ONCE = 100  # products whose direct comparisons are summed together: their matrix is dense


@dataclass(frozen=True, slots=True, eq=False)
class Direct:
    """Evidence of studies that tested the product and the reference together; NaN where there is none."""

    effects: Array  # (products,)
    variance: Array
    studies: Codes


def q_within_designs(arms: Arms) -> tuple[float, int]:
    """Q at tau2 = 0 that is left when every design (set of products) has effects of its own.

    Parameters
    ----------
    arms : Arms
        Sorted by study, of studies with several arms.

    Returns
    -------
    tuple of float and int
        Q [1] and its degrees of freedom [1].
    """
    start = np.flatnonzero(np.r_[True, arms.study[1:] != arms.study[:-1]])
    size = np.diff(np.r_[start, arms.study.size])
    q, df = 0.0, 0
    for k in np.flatnonzero(np.bincount(size)):
        rows, product = _by_product(arms, start[np.flatnonzero(size == k)], int(k))
        design = _design(product, len(arms.products))
        order = order_of(design)
        first = np.flatnonzero(np.r_[True, np.diff(design[order]) != 0])
        studies = np.diff(np.r_[first, order.size])
        order = order[np.repeat(studies > 1, studies)]
        studies = studies[studies > 1]
        if studies.size:
            q += _q_of_designs(arms, np.take(rows, order, axis=1), studies)
            df += int((studies - 1).sum()) * (int(k) - 1)
    return q, df


def _by_product(arms: Arms, start: Codes, k: int) -> tuple[Codes, Codes]:
    """Rows and products of studies of k arms, (k, n), each study's in the order of its products."""
    places = k.bit_length()
    keys = np.sort((arms.product[start[:, None] + np.arange(k)] << places) | np.arange(k), axis=1)
    keys = np.ascontiguousarray(keys.T)
    return start + (keys & ((1 << places) - 1)), keys >> places


def _design(product: Codes, products: int) -> Codes:
    """One number by column of sorted products, the same for the same products."""
    key, largest = product[0], products
    for row in product[1:]:
        if largest > MOST_KEY // products:
            key = np.unique(key, return_inverse=True)[1]
            largest = key.size
        key, largest = key * products + row, largest * products
    return np.asarray(key)


def _q_of_designs(arms: Arms, rows: Codes, studies: Codes) -> float:
    """Sum of Q over designs of k products: studies of a design stand behind each other."""
    k = len(rows)
    first = np.cumsum(studies) - studies
    w = 1.0 / arms.se_m2[rows] ** 2
    value = arms.value_m2[rows]
    share = w / w.sum(axis=0)
    departure = value - (share * value).sum(axis=0)
    rhs = np.add.reduceat(w * departure, first, axis=1)
    laplacian = np.empty((first.size, k, k))
    for i in range(k):
        for j in range(i):
            laplacian[:, i, j] = laplacian[:, j, i] = -np.add.reduceat(w[i] * share[j], first)
        laplacian[:, i, i] = np.add.reduceat(w[i] * (1.0 - share[i]), first)
    effects = np.zeros((k, first.size))
    effects[1:] = np.linalg.solve(laplacian[:, 1:, 1:], rhs[1:].T[:, :, None])[:, :, 0].T
    left = value - np.repeat(effects, studies, axis=1)
    left -= (share * left).sum(axis=0)
    return float((w * left**2).sum())


def direct_evidence(fitted: Fit, reference: int) -> Direct:
    """Every product against the reference from the studies that hold both, these two arms alone.

    Parameters
    ----------
    fitted : Fit
    reference : int
        Code of the reference [1].

    Returns
    -------
    Direct
        Effects [m2], their variances [m4] at the network's tau2, and studies [1].

    References
    ----------
    Dias et al. (2010), Stat. Med. 29:932-944 (direct against indirect evidence by back-calculation).
    """
    arms = fitted.network.arms
    count = len(arms.products)
    effects, variance = np.full(count, np.nan), np.full(count, np.nan)
    base = np.full(int(arms.study.max(initial=0)) + 1, -1)
    base[arms.study[arms.product == reference]] = np.flatnonzero(arms.product == reference)
    rows = np.flatnonzero((base[arms.study] >= 0) & (arms.product != reference))
    studies = np.bincount(arms.product[rows], minlength=count)
    tested = np.flatnonzero(studies)
    for some in np.array_split(tested, max(1, -(-tested.size // AT_ONCE))):
        chosen = rows[np.isin(arms.product[rows], some)]
        found = _pairs_alone(arms, chosen, base[arms.study[chosen]], some, fitted.best.tau2)
        effects[some], variance[some] = found
    effects += fitted.taken - fitted.taken[reference]
    return Direct(effects, variance, studies)


def _pairs_alone(arms: Arms, rows: Codes, base: Codes, some: Codes, tau2: float) -> tuple[Array, Array]:
    """Each product with its own copy of the reference, as a network of separate pairs."""
    which = np.searchsorted(some, arms.product[rows])
    study = np.repeat(np.arange(rows.size), 2)
    both = np.column_stack([base, rows]).ravel()
    product = np.column_stack([2 * which, 2 * which + 1]).ravel()
    pairs = Arms(
        study, arms.rider[both], product, arms.value_m2[both], arms.se_m2[both], tuple(map(str, range(2 * some.size)))
    )
    sums = lay_out(pairs).sums(tau2)
    at = 2 * np.arange(some.size) + 1
    weight = sums.laplacian[at, at]
    if not weight.min() > 0.0:
        raise PoolRefused(DIFFER)
    return sums.rhs[at] / weight, 1.0 / weight

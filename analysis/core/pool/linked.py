"""Studies tied together because their rider tested a product in more than one of them.

A block is a set of studies connected by such products (never more than one rider's); its cells are the pairs of rider
and product in it. With A = Z'P Z at tau2 = 0 the information at any tau2 is G = A (I + tau2/2 A)^-1, so that A is made
once; blocks of the same number of cells are computed together.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from analysis.core.arrays import Array
from analysis.core.pool.arms import Arms, Codes, order_of
from analysis.core.pool.sums import CHUNK, Sums

BATCH = 1 << 16  # numbers in the matrices of one batch: they stay in the processor's cache
LIGHT = 1e-3  # of 2 / tau2, what a cell weighs below which G is made from A
HANDS = 2
ALONE = 8  # batches that one thread has added before others are at work
DIRECT = 32  # size up to which triangles are inverted row after row


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """Blocks of k cells each."""

    product: Codes  # (n, k)
    information: Array  # (n, k, k) A
    rhs: Array  # (n, k) Z'P y at tau2 = 0


@dataclass(frozen=True, slots=True, eq=False)
class Linked:
    """All blocks of a network."""

    batches: tuple[Batch, ...]
    y_p_y: float  # at tau2 = 0

    def add(self, sums: Sums, tau2: float) -> None:
        """Add what these blocks say."""
        found = _sums_of(self.batches, sums.rhs.size, tau2 / 2.0)
        found.y_p_y += self.y_p_y
        for matrix in (found.laplacian, found.squared):
            matrix /= -2.0  # weights between products, of which both orders were added
        sums += found


def linked_studies(study: Codes, cell: Codes) -> Codes:
    """Number the blocks: studies that share a cell, directly or through others, get the same number.

    Parameters
    ----------
    study, cell : ndarray, shape (n,)
        Codes of the arms whose cell stands in several studies [1].

    Returns
    -------
    ndarray, shape (studies,)
        Lowest study of its block, by study; itself where nothing ties it [1].
    """
    label = np.arange(int(study.max(initial=-1)) + 1)
    cells = int(cell.max(initial=-1)) + 1
    while True:
        lowest = np.full(cells, label.size)
        np.minimum.at(lowest, cell, label[study])
        found = label.copy()
        np.minimum.at(found, study, lowest[cell])
        found = found[found]
        if np.array_equal(found, label):
            return label
        label = found


def lay_blocks(arms: Arms, block: Codes, cell: Codes) -> Linked:
    """Gather A and Z'P y of every block.

    Parameters
    ----------
    arms : Arms
        Arms of the tied studies, sorted by study.
    block, cell : ndarray, shape (n,)
        Block and cell of every arm [1].

    Returns
    -------
    Linked
    """
    if not block.size:
        return Linked((), 0.0)
    block, cell = _numbered(block), _numbered(cell)
    first = np.empty(int(cell.max()) + 1, np.int64)
    first[cell] = np.arange(cell.size)  # any arm of the cell
    cell_block = block[first]
    size = np.bincount(cell_block)
    by_size = order_of(size)
    rank = np.empty_like(by_size)
    rank[by_size] = np.arange(by_size.size)
    order = order_of(rank[cell_block])
    place = np.empty_like(order)
    place[order] = np.arange(order.size)
    size = size[by_size]
    first_cell = np.cumsum(size) - size
    where = place[cell]  # cells in the order of the batches
    flat = (np.cumsum(size**2) - size**2)[rank[block]]
    inner = where - first_cell[rank[block]]
    information, z, y_p_y = _at_zero(arms, flat, inner, size[rank[block]], int((size**2).sum()))
    return Linked(
        tuple(
            _batches(
                arms.product[first][order], information, np.asarray(np.bincount(where, z, order.size), np.float64), size
            )
        ),
        y_p_y,
    )


def _numbered(codes: Codes) -> Codes:
    """The codes that are there, numbered from 0 in their order."""
    there = np.zeros(int(codes.max()) + 1, np.bool_)
    there[codes] = True
    return np.asarray((np.cumsum(there) - 1)[codes])


def _at_zero(arms: Arms, flat: Codes, inner: Codes, size: Codes, total: int) -> tuple[Array, Array, float]:
    """A of all blocks behind each other, z by arm, and y'P y, all at tau2 = 0."""
    start = np.flatnonzero(np.r_[True, arms.study[1:] != arms.study[:-1]])
    arms_in = np.diff(np.r_[start, arms.study.size])
    study = np.repeat(np.arange(start.size), arms_in)
    w = 1.0 / arms.se_m2**2
    share = w / np.add.reduceat(w, start)[study]
    departure = arms.value_m2 - np.add.reduceat(share * arms.value_m2, start)[study]
    information = np.zeros(total)
    np.add.at(information, flat + inner * (size + 1), w)
    for k in np.unique(arms_in):
        rows = start[arms_in == k][:, None] + np.arange(k)
        for chunk in np.array_split(rows, max(1, rows.size * int(k) // CHUNK)):
            at = (flat[chunk] + inner[chunk] * size[chunk])[:, :, None] + inner[chunk][:, None, :]
            np.subtract.at(information, at.ravel(), (w[chunk][:, :, None] * share[chunk][:, None, :]).ravel())
    return information, w * departure, float((w * departure**2).sum())


def _batches(product: Codes, information: Array, rhs: Array, size: Codes) -> list[Batch]:
    """Cut cells and matrices into batches of equal size."""
    batches, cell, number = [], 0, 0
    for k, blocks in zip(*np.unique(size, return_counts=True), strict=True):
        k, left = int(k), int(blocks)
        step = max(1, BATCH // k**2)
        while left:
            n = min(step, left)
            batches.append(
                Batch(
                    product[cell : cell + n * k].reshape(n, k),
                    information[number : number + n * k * k].reshape(n, k, k),
                    rhs[cell : cell + n * k].reshape(n, k),
                )
            )
            cell, number, left = cell + n * k, number + n * k * k, left - n
    return batches


def _sums_of(batches: Sequence[Batch], products: int, half: float) -> Sums:
    """What batches say; many are shared out to threads, always alike, so that the sums have always the same digits."""
    if len(batches) > ALONE:
        with ThreadPoolExecutor(HANDS) as pool:
            first, *rest = pool.map(lambda k: _summed(batches[k::HANDS], products, half), range(HANDS))
        for other in rest:
            first += other
        return first
    return _summed(batches, products, half)


def _summed(batches: Sequence[Batch], products: int, half: float) -> Sums:
    found = Sums.empty(products)
    for batch in batches:
        _add_batch(found, batch, half)
    return found


def _add_batch(sums: Sums, batch: Batch, half: float) -> None:
    """Add to sums of Laplacians' entries all of G and of its square: both orders of a pair stand here."""
    p = sums.rhs.size
    g, z = _at(batch, half) if half > 0.0 else (batch.information, batch.rhs)
    at = np.add((batch.product * p)[:, :, None], batch.product[:, None, :]).ravel()
    sums.laplacian += np.bincount(at, g.ravel(), p * p).reshape(p, p)
    sums.squared += np.bincount(at, (g @ g).ravel(), p * p).reshape(p, p)
    sums.rhs += np.bincount(batch.product.ravel(), z.ravel(), p)
    sums.g_rhs += np.bincount(batch.product.ravel(), (g @ z[:, :, None]).ravel(), p)
    sums.trace += float(np.trace(g, axis1=1, axis2=2).sum())
    sums.z_z += float((z * z).sum())
    sums.y_p_y -= half * float((batch.rhs * z).sum())


def _at(batch: Batch, half: float) -> tuple[Array, Array]:
    """G and z at a tau2. Where A is large beside 2 / tau2, its product with the inverse would lose digits.

    A does not know the level common to a block (A 1 = 0): a weight of its own keeps the inverse well conditioned,
    and no larger than any other it leaves small entries their digits.
    """
    k = batch.product.shape[1]
    own = half * np.diagonal(batch.information, axis1=1, axis2=2)
    weight = own.min(axis=1)[:, None, None]
    inverse = half * batch.information
    inverse += weight / k
    _diagonal(inverse)[:] += 1.0
    inverse = invert(inverse)
    g = inverse + weight / (1.0 + weight) / k
    np.negative(g, out=g)
    _diagonal(g)[:] += 1.0
    g /= half
    heavy = own > LIGHT
    mixed = np.flatnonzero(~heavy.all(axis=1))
    if mixed.size:
        row, column = heavy[mixed][:, :, None], heavy[mixed][:, None, :]
        light = batch.information[mixed] @ inverse[mixed]  # right in the rows of cells that weigh little
        g[mixed] = np.where(row & column, g[mixed], np.where(row, light.transpose(0, 2, 1), light))
    z = inverse @ batch.rhs[:, :, None]
    z += inverse @ (batch.rhs[:, :, None] - z - half * (batch.information @ z))  # the digits that the first left out
    return g, z[:, :, 0]


def _diagonal(matrices: Array) -> Array:
    """Their diagonals, to be written to."""
    n, k, _ = matrices.shape
    return matrices.reshape(n, k * k)[:, :: k + 1]


def invert(matrices: Array) -> Array:
    """Invert positive definite matrices by their Cholesky roots: many small ones in two thirds of LAPACK's time.

    Parameters
    ----------
    matrices : ndarray, shape (n, k, k)
        Symmetric, with eigenvalues from 1 up here [1].

    Returns
    -------
    ndarray, shape (n, k, k)
        Inverses [1].
    """
    root = _invert_lower(np.asarray(np.linalg.cholesky(matrices), np.float64))
    return np.ascontiguousarray(root.transpose(0, 2, 1)) @ root  # a view would be multiplied more slowly


def _invert_lower(root: Array) -> Array:
    """Invert lower triangles, row after row of all at once; large ones by their quarters."""
    k = root.shape[-1]
    out = np.zeros_like(root)
    if k > DIRECT:
        h = k // 2
        out[:, :h, :h], out[:, h:, h:] = _invert_lower(root[:, :h, :h]), _invert_lower(root[:, h:, h:])
        out[:, h:, :h] = -out[:, h:, h:] @ (root[:, h:, :h] @ out[:, :h, :h])
        return out
    own = 1.0 / np.diagonal(root, axis1=1, axis2=2)
    scaled = root * -own[:, :, None]
    for row in range(k):
        np.matmul(scaled[:, row : row + 1, :row], out[:, :row, :row], out=out[:, row : row + 1, :row])
        out[:, row, row] = own[:, row]
    return out

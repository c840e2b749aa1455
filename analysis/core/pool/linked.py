"""Studies tied together because their rider tested a product in more than one of them.

A block is a set of studies connected by such products (never more than one rider's); its cells are the pairs of rider
and product in it. With A = Z'P Z at tau2 = 0 the information at h = tau2 / 2 is G = A (I + h A)^-1, so that A is made
once; blocks of the same number of cells are computed together.

From one h to another close by, G(h + d) = G - d G^2 + d^2 G^3 - ...: the sums of a few powers of G over all blocks say
every sum in the neighbourhood, so that the last steps to the best tau2 cost next to nothing (`Around`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.pool.arms import Arms, Codes, order_of
from analysis.core.pool.sums import CHUNK, Sums
from analysis.core.types import Array

BATCH = 1 << 16  # numbers in the matrices of one batch: they stay in the processor's cache
NEAR = 0.01  # share of h within which sums are told from its neighbour's: the terms left out are then worth 4e-8
POWERS = 5
DIRECT = 8  # size up to which LAPACK inverts small matrices faster than products of their quarters


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """Blocks of k cells each."""

    product: Codes  # (n, k)
    information: Array  # (n, k, k) A
    rhs: Array  # (n, k) Z'P y at tau2 = 0


@dataclass(slots=True, eq=False)
class Around:
    """Sums over all blocks at one h of powers of G, and of G on z, as z = (I + h A)^-1 z0 there."""

    half: float
    y_p_y: float
    matrices: Array  # (powers, p, p) B'G^j B, j from 1, not their diagonals
    vectors: Array  # (powers + 1, p) B'G^j z, j from 0
    traces: Array  # (powers,) tr G^j, j from 1
    squares: Array  # (powers + 1,) z'G^j z, j from 0

    @classmethod
    def at(cls, linked: Linked, products: int, half: float, powers: int) -> Around:
        """Sum over all blocks at this h."""
        around = cls(
            half, linked.y_p_y, np.zeros((powers, products, products)), np.zeros((powers + 1, products)),
            np.zeros(powers), np.zeros(powers + 1),
        )  # fmt: skip
        for batch in linked.batches:
            around._add(batch)
        return around

    def _add(self, batch: Batch) -> None:
        p, half = self.vectors.shape[1], self.half
        places = batch.product.ravel()
        pairs = (batch.product[:, :, None] * p + batch.product[:, None, :]).ravel()
        inverse = invert(np.eye(batch.product.shape[1]) + half * batch.information) if half > 0.0 else None
        g = batch.information if inverse is None else batch.information @ inverse
        first = batch.rhs[:, :, None] if inverse is None else inverse @ batch.rhs[:, :, None]
        self.y_p_y -= half * float(np.vdot(batch.rhs, first))
        power, z = g, first
        for j in range(len(self.vectors)):
            self.vectors[j] += np.bincount(places, z.ravel(), p)
            self.squares[j] += float(np.vdot(first, z))
            if j < len(self.matrices):
                self.matrices[j] += np.bincount(pairs, power.ravel(), p * p).reshape(p, p)
                self.traces[j] += float(np.trace(power, axis1=1, axis2=2).sum())
                z = g @ z
                power = power @ g if j + 1 < len(self.matrices) else power

    def add(self, sums: Sums, half: float) -> None:
        """Add what the blocks say at an h not far from this one."""
        step = -(half - self.half)
        n = len(self.matrices)
        series = step ** np.arange(n + 1.0)  # of G(h + d) and z(h + d)
        slopes = np.r_[0.0, np.arange(1.0, n + 1.0) * series[:n]]  # of G^2, the slope of G but for its sign, and of G z
        # half of each, as both orders of a pair stand here
        sums.laplacian -= np.tensordot(series[:n], self.matrices, 1) / 2.0
        sums.squared -= np.tensordot(slopes[:n], self.matrices, 1) / 2.0
        sums.rhs += series @ self.vectors
        sums.g_rhs += slopes @ self.vectors
        sums.trace += float(series[:n] @ self.traces)
        sums.z_z += float(slopes[1:] @ self.squares[:n])
        sums.y_p_y += self.y_p_y + float(step * series[:n] @ self.squares[:n])


@dataclass(slots=True, eq=False)
class Linked:
    """All blocks of a network."""

    batches: tuple[Batch, ...]
    y_p_y: float  # at tau2 = 0
    around: Around | None = None  # the h at which the blocks were summed last

    def add(self, sums: Sums, tau2: float) -> None:
        """Add what these blocks say."""
        half = tau2 / 2.0
        near = NEAR * self.around.half if self.around is not None and len(self.around.matrices) == POWERS else 0.0
        if self.around is None or abs(half - self.around.half) > near:
            large = sum(batch.information.size for batch in self.batches) > BATCH  # others are summed anew in no time
            self.around = Around.at(self, sums.rhs.size, half, POWERS if large and half > 0.0 else 2)
        self.around.add(sums, half)


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
    _, first, cell = np.unique(cell, return_index=True, return_inverse=True)
    _, block = np.unique(block, return_inverse=True)
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


def invert(matrices: Array) -> Array:
    """Invert positive definite matrices by their quarters: small products run faster than LAPACK on each.

    Parameters
    ----------
    matrices : ndarray, shape (n, k, k)
        Symmetric, with eigenvalues from 1 up here, so that no pivoting is needed [1].

    Returns
    -------
    ndarray, shape (n, k, k)
        Inverses [1].
    """
    k = matrices.shape[-1]
    if k <= DIRECT:
        return np.asarray(np.linalg.inv(matrices))
    h = k // 2
    first, corner = invert(matrices[:, :h, :h]), matrices[:, :h, h:]
    solved = first @ corner
    second = invert(matrices[:, h:, h:] - corner.transpose(0, 2, 1) @ solved)
    off = solved @ second
    out = np.empty_like(matrices)
    out[:, :h, :h] = first + off @ solved.transpose(0, 2, 1)
    out[:, :h, h:] = -off
    out[:, h:, :h] = -off.transpose(0, 2, 1)
    out[:, h:, h:] = second
    return out

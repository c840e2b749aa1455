"""What a study, or many, add to the equations of pooling at one tau2; everything here adds up over studies.

Model: y = level of the study + effect of the product + the rider's departure for the product + error, departures
N(0, tau2 / 2), errors N(0, se^2). With the levels eliminated, G = Z'P Z is the information on a set of cells
(rider, product) and z = Z'P y, where Z spreads cells over arms. G and z alone make the equations, the REML score and Q:

    L = sum B'G B, right side sum B'z (B: cells to products); Q = sum y'P y - effects' right side
    tr(P S) = 1/2 [sum tr G - tr(L^+ sum B'G G B)],  y'P S P y = 1/2 sum |z - G effects|^2,  S = ZZ'/2

Riders who repeat nothing in several studies are here in closed form; the others are `linked`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from analysis.core.arrays import Array
from analysis.core.pool.arms import Codes

CHUNK = 1 << 14  # arms: their temporaries stay in the processor's cache
MOST_PAIRED = 16  # arms of a study up to which listing its pairs is cheaper than a dense product


def dot(a: Array, b: Array) -> float:
    """Sum of products without BLAS, whose threads would have to be woken and waited for.

    Parameters
    ----------
    a, b : ndarray, shape (n,) or (k, n)
        Of one shape [any unit].

    Returns
    -------
    float
        Sum [product of their units].
    """
    return float(np.einsum("ij,ij", np.atleast_2d(a), np.atleast_2d(b)))


@dataclass(slots=True, eq=False)
class Sums:
    """Sums over studies at one tau2, for p products; see the module for the letters."""

    laplacian: Array  # (p, p) L
    squared: Array  # (p, p) sum B'G G B
    rhs: Array  # (p,) sum B'z
    g_rhs: Array  # (p,) sum B'G z
    trace: float = 0.0  # sum tr G
    z_z: float = 0.0
    y_p_y: float = 0.0

    @classmethod
    def empty(cls, products: int) -> Sums:
        square = (products, products)
        return cls(np.zeros(square), np.zeros(square), np.zeros(products), np.zeros(products))

    def __iadd__(self, other: Sums) -> Sums:
        for name in self.__slots__:
            setattr(self, name, getattr(self, name) + getattr(other, name))
        return self

    def close(self) -> Sums:
        """Make Laplacians of the weights between products gathered so far: rows of G add to zero."""
        for off in (self.laplacian, self.squared):
            off += off.T
            np.fill_diagonal(off, 0.0)
            own = off.sum(axis=1)
            np.negative(off, out=off)
            np.fill_diagonal(off, own)
        return self


@dataclass(slots=True, eq=False)
class Group:
    """Studies of k arms each whose riders repeat nothing; arrays of shape (k, n)."""

    product: Codes
    value: Array
    variance: Array


@dataclass(frozen=True, slots=True, eq=False)
class Twos:
    """Studies of two arms whose riders repeat nothing: G is a weight w times [1, -1]'[1, -1], G G is 2 w times G."""

    pair_at: Codes  # (n,) products of the arms, as one number
    difference: Array  # (n,) first arm less second
    variance: Array  # (n,) of the difference, without tau2

    def add(self, sums: Sums, tau2: float) -> None:
        """Add what these studies say; a pair of products is summed before its two products are told apart."""
        weight = 1.0 / (self.variance + tau2)
        z = weight * self.difference
        sums.trace += 2.0 * float(weight.sum())
        sums.z_z += 2.0 * dot(z, z)
        sums.y_p_y += dot(z, self.difference)
        sums.laplacian += self._by_pair(weight, sums)
        sums.rhs += _opposed(self._by_pair(z, sums))
        weight *= 2.0
        z *= weight
        sums.g_rhs += _opposed(self._by_pair(z, sums))
        weight *= weight / 2.0
        sums.squared += self._by_pair(weight, sums)

    def _by_pair(self, what: Array, sums: Sums) -> Array:
        p = sums.rhs.size
        return np.asarray(np.bincount(self.pair_at, what, p * p), np.float64).reshape(p, p)


def _opposed(by_pair: Array) -> Array:
    """Sums by product of what one arm of a pair has and the other lacks."""
    return np.asarray(by_pair.sum(axis=1) - by_pair.sum(axis=0))


@dataclass(slots=True, eq=False)
class Paired:
    """Groups of small studies with room for what each arm and each pair of arms weighs."""

    groups: list[Group]
    products: int
    at: Codes = field(init=False)  # product of every arm
    pair_at: Codes = field(init=False)  # products of every pair, as one number
    z: Array = field(init=False)
    g_z: Array = field(init=False)
    weight: Array = field(init=False)
    weight_squared: Array = field(init=False)

    def __post_init__(self) -> None:
        arms = sum(group.product.size for group in self.groups)
        pairs = sum(group.product.size * (len(group.product) - 1) // 2 for group in self.groups)
        self.at, self.pair_at = np.empty(arms, np.int64), np.empty(pairs, np.int64)
        self.z, self.g_z, self.weight, self.weight_squared = (np.empty(n) for n in (arms, arms, pairs, pairs))
        arm = pair = 0
        for group in self.groups:
            k, n = group.product.shape
            self.at[arm : arm + k * n] = group.product.ravel()
            arm += k * n
            for i in range(k):
                for j in range(i):
                    self.pair_at[pair : pair + n] = group.product[i] * self.products + group.product[j]
                    pair += n

    def add(self, sums: Sums, tau2: float) -> None:
        """Add what these studies say; the weights go through one bincount each."""
        arm = pair = 0
        for group in self.groups:
            k, n = group.product.shape
            pairs = k * (k - 1) // 2
            self._group(
                sums,
                group,
                tau2,
                (self.z[arm : arm + k * n].reshape(k, n), self.g_z[arm : arm + k * n].reshape(k, n)),
                tuple(x[pair : pair + pairs * n].reshape(pairs, n) for x in (self.weight, self.weight_squared)),
            )
            arm, pair = arm + k * n, pair + pairs * n
        p = self.products
        sums.z_z += dot(self.z, self.z)
        sums.rhs += np.bincount(self.at, self.z, p)
        sums.g_rhs += np.bincount(self.at, self.g_z, p)
        sums.laplacian += np.bincount(self.pair_at, self.weight, p * p).reshape(p, p)
        sums.squared += np.bincount(self.pair_at, self.weight_squared, p * p).reshape(p, p)

    @staticmethod
    def _group(sums: Sums, group: Group, tau2: float, by_arm: tuple[Array, Array], by_pair: tuple[Array, ...]) -> None:
        k, n = group.product.shape
        room = Room(k, min(n, CHUNK // k))
        for start in range(0, n, CHUNK // k):
            here = slice(start, min(n, start + CHUNK // k))
            w, total, s2 = arm_sums(sums, group, here, tau2, by_arm, room)
            share, rest, both = room.arms[1][:, : s2.size], room.arms[2][:, : s2.size], room.studies[2][: s2.size]
            np.divide(w, total, out=share)
            np.subtract(w, s2, out=rest)
            pair = 0
            for i in range(k):
                for j in range(i):
                    weight = np.multiply(w[i], share[j], out=by_pair[0][pair, here])
                    np.multiply(weight, np.add(rest[i], w[j], out=both), out=by_pair[1][pair, here])
                    pair += 1


class Room:
    """Where a chunk of n studies of k arms is worked on: asking for new arrays costs more than a step on them."""

    def __init__(self, k: int, n: int) -> None:
        self.arms = np.empty((3, k, n))
        self.studies = np.empty((3, n))


def arm_sums(
    sums: Sums, group: Group, here: slice, tau2: float, by_arm: tuple[Array, Array], room: Room
) -> tuple[Array, Array, Array]:
    """Add the scalars of some studies, but for z'z, and write z and G z of their arms.

    Parameters
    ----------
    sums : Sums
        Added to.
    group : Group
    here : slice
        Which studies of the group.
    tau2 : float
        Variance of a contrast between riders [m4].
    by_arm : two ndarrays of the group's shape
        Written to: z [1/m2] and G z [1/m6].
    room : Room
        For as many studies or more.

    Returns
    -------
    tuple of ndarray
        Weights of the arms, their sum, and the sum of their squares over it, all in the room [1/m4].
    """
    value = group.value[:, here]
    n = value.shape[1]
    w, departure = room.arms[0][:, :n], room.arms[1][:, :n]
    total, s2, mean = room.studies[:, :n]
    np.add(group.variance[:, here], tau2 / 2.0, out=w)
    np.reciprocal(w, out=w)
    np.add.reduce(w, axis=0, out=total)
    np.subtract(value, _mean(w, value, total, mean), out=departure)
    z = np.multiply(w, departure, out=by_arm[0][:, here])
    sums.y_p_y += dot(z, departure)
    np.subtract(z, _mean(w, z, total, mean), out=departure)
    np.multiply(w, departure, out=by_arm[1][:, here])
    _mean(w, w, total, s2)
    sums.trace += float(total.sum() - s2.sum())
    return w, total, s2


def _mean(w: Array, of: Array, total: Array, out: Array) -> Array:
    """Weighted mean over the arms of every study."""
    np.einsum("ij,ij->j", w, of, out=out)
    return np.divide(out, total, out=out)


def add_wide(sums: Sums, group: Group, tau2: float) -> None:
    """Add studies of many arms: dense products over all products instead of listing pairs.

    Parameters
    ----------
    sums : Sums
        Added to.
    group : Group
    tau2 : float
        Variance of a contrast between riders [m4].
    """
    k, n = group.product.shape
    p = sums.rhs.size
    by_arm = (np.empty((k, n)), np.empty((k, n)))
    step = max(1, CHUNK // k)
    room = Room(k, min(n, step))
    for start in range(0, n, step):
        here = slice(start, min(n, start + step))
        w, total, s2 = arm_sums(sums, group, here, tau2, by_arm, room)
        product = group.product[:, here]
        rows = np.broadcast_to(np.arange(product.shape[1]), product.shape)
        first, second, third = (np.zeros((product.shape[1], p)) for _ in range(3))
        first[rows, product] = w / np.sqrt(total)
        second[rows, product] = w * w / np.sqrt(total)
        third[rows, product] = w * np.sqrt(s2 / total)
        sums.laplacian += first.T @ first / 2.0
        sums.squared += second.T @ first - third.T @ third / 2.0
    sums.z_z += dot(by_arm[0], by_arm[0])
    sums.rhs += np.bincount(group.product.ravel(), by_arm[0].ravel(), p)
    sums.g_rhs += np.bincount(group.product.ravel(), by_arm[1].ravel(), p)

"""tau2 and the effects of the products connected to the reference, with their covariance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg.lapack import dpotrf, dpotri

from analysis.core.arrays import Array
from analysis.core.pool.arms import Arms, Codes, PoolRefused
from analysis.core.pool.between import Between
from analysis.core.pool.layout import Network, counts, lay_out
from analysis.core.pool.sums import Sums, dot

CLOSE, CLOSER = 1e-7, 1e-10  # relative step of tau2 at which it is found, and where steps cost little
FEW_ARMS = 20_000  # below, the score may have several roots, and looking for them costs little
LARGE_EFFECTS = 1e4  # of the squares that effects explain over those they leave: digits would be lost
TIED = 1e-11  # of a product's weight, what must tie it to the others: digits of its differences would be lost
DIFFER = (
    "Errors differ by so much that no difference between products can be told: leave out the studies whose errors are"
    " the largest, or the smallest."
)
NOTHING = 1e-9  # share of tr G below which nothing is left to tell tau2 from


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """The equations solved at one tau2."""

    tau2: float
    effects: Array  # (members,) the reference's is 0
    covariance: Array  # (members, members), zeros for the reference
    q: float
    squares: float  # y'P S P y
    expected: float  # tr(P S), what the squares are expected to be


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A network fitted; arrays over `members`, the codes of the products connected to the reference."""

    network: Network  # its arms only
    members: Codes
    component: Codes  # (products,) 1 for the reference's
    riders: Codes  # (products,) who tested it in studies that compare something
    studies: Codes  # (products,)
    zero: Solved  # at tau2 = 0
    best: Solved  # at the REML tau2; at zero where it cannot be known
    joint: Solved  # the same against the product that is known best: contrasts lose no digits to a poor reference
    taken: Array  # (products,) effects that were taken from the values of the network's arms
    tau2: float | None
    tau2_dl: float | None
    df: int

    @property
    def place(self) -> Codes:
        """Where a product's code stands in `members`, -1 where it does not."""
        place = np.full(len(self.network.arms.products), -1)
        place[self.members] = np.arange(self.members.size)
        return place


def fit(arms: Arms, reference: int) -> Fit:
    """Fit all products connected to the reference.

    Parameters
    ----------
    arms : Arms
    reference : int
        Code of the reference product [1].

    Returns
    -------
    Fit

    Raises
    ------
    PoolRefused
        Where products that are known well are tied to each other by nothing that is.

    References
    ----------
    White et al. (2012), Res. Synth. Methods 3:111-125 (contrasts of studies with several arms);
    DerSimonian & Laird (1986), Control. Clin. Trials 7:177-188; Patterson & Thompson (1971), Biometrika 58:545-554.
    """
    network = lay_out(arms)
    riders, studies = counts(network)
    sums = network.sums(0.0)
    component = components(sums.laplacian != 0.0, reference)
    members = np.flatnonzero(component == 1)
    if members.size < component.size:
        network = lay_out(network.arms.take(component[network.arms.product] == 1))
        sums = network.sums(0.0)
    base = int(members[np.argmax(np.diag(sums.laplacian)[members])])
    zero = solve(sums, members, base, 0.0)
    shift = np.zeros(len(arms.products))
    if sums.y_p_y > LARGE_EFFECTS * zero.q:
        shift[members] = zero.effects
        network = network.centred(shift)
        zero = solve(network.sums(0.0), members, base, 0.0)
    df = network.arms.study.size - network.studies - (members.size - 1)

    look = network.arms.study.size < FEW_ARMS
    sums_at = network.sums if look else Between(network).sums

    def at(tau2: float) -> Solved:
        return solve(sums_at(tau2), members, base, tau2)

    known = df > 0 and zero.expected > NOTHING * abs(sums.trace)
    dl = max(0.0, (zero.q - df) / zero.expected) if known else None
    best = zero if dl is None else reml(at, zero, dl, look=look)
    joint = replace(best, effects=best.effects + shift[members])
    at_reference = int(np.searchsorted(members, reference))
    zero = _against(replace(zero, effects=zero.effects + shift[members]), at_reference)
    best, tau2 = _against(joint, at_reference), best.tau2 if known else None
    return Fit(network, members, component, riders, studies, zero, best, joint, shift, tau2, dl, df)


def _against(solved: Solved, reference: int) -> Solved:
    """The same effects against another product, by its place."""
    to = solved.covariance[reference]
    covariance = solved.covariance - to - to[:, None] + to[reference]
    return replace(solved, effects=solved.effects - solved.effects[reference], covariance=covariance)


def components(adjacent: np.ndarray, reference: int) -> Codes:
    """Number the connected parts of a network: the reference's 1, then by size, then by first product.

    Parameters
    ----------
    adjacent : ndarray of bool, shape (p, p)
        Whether a study compares two products [1].
    reference : int
        Code of the reference [1].

    Returns
    -------
    ndarray, shape (p,)
        Number by product [1].
    """
    label = np.full(len(adjacent), -1)
    for seed in range(len(adjacent)):
        front = np.arange(seed, seed + 1) if label[seed] < 0 else np.empty(0, np.int64)
        while front.size:
            label[front] = seed
            front = np.flatnonzero(adjacent[front].any(axis=0) & (label < 0))
    first, size = np.unique(label, return_counts=True)
    order = first[np.lexsort((first, -size, first != label[reference]))]
    number = np.empty(len(adjacent), np.int64)
    number[order] = np.arange(1, order.size + 1)
    return np.asarray(number[label])


def solve(sums: Sums, members: Codes, reference: int, tau2: float) -> Solved:
    """Effects, covariance, Q and both sides of the REML equation.

    Parameters
    ----------
    sums : Sums
    members : ndarray
        Codes of the connected products [1].
    reference : int
        Code of the product that the others are told against [1].
    tau2 : float
        Variance of a contrast between riders, at which the sums were made [m4].

    Returns
    -------
    Solved
    """
    base = int(np.searchsorted(members, reference))
    inner = np.delete(np.arange(members.size), base)
    others = members[inner]
    covariance, effects = np.zeros((members.size, members.size)), np.zeros(members.size)
    squared, g_rhs, rhs = _between(sums.squared, members, base), sums.g_rhs[others], sums.rhs[others]
    expected = sums.trace
    if others.size:
        # scaled to a unit diagonal: errors of very different size cost no digits
        own = np.diag(sums.laplacian)[others]
        if not own.min() > 0.0:
            raise PoolRefused(DIFFER)
        scale = 1.0 / np.sqrt(own)
        inverse = _inverse(scale[:, None] * _between(sums.laplacian, members, base) * scale)
        inverse *= scale[:, None] * scale
        effects[inner] = inverse @ rhs
        expected -= dot(inverse, squared)
        covariance[inner] = np.insert(inverse, base, 0.0, axis=1)
    found = effects[inner]
    q = max(0.0, sums.y_p_y - float(found @ rhs))
    squares = (sums.z_z - 2.0 * float(found @ g_rhs) + float(found @ squared @ found)) / 2.0
    return Solved(tau2, effects, covariance, q, max(0.0, squares), max(0.0, expected / 2.0))


def _between(matrix: Array, members: Codes, base: int) -> Array:
    """The part of a matrix over products that is left of the members without one of them."""
    inside = matrix if members.size == len(matrix) else matrix[np.ix_(members, members)]
    return np.delete(np.delete(inside, base, axis=0), base, axis=1)


def _inverse(matrix: Array) -> Array:
    """Inverse of a symmetric matrix of unit diagonal by its Cholesky root."""
    root, failed = dpotrf(matrix, lower=1)
    if failed or np.diag(root).min() ** 2 < TIED:
        raise PoolRefused(DIFFER)
    lower = dpotri(root, lower=1)[0]  # with zeros above, where the root has them
    return np.asarray(lower + np.tril(lower, -1).T)


def reml(at: Callable[[float], Solved], zero: Solved, start: float, *, look: bool) -> Solved:
    """Solve y'P S P y = tr(P S): the squares of the departures are as large as expected.

    Their ratio is a straight line in tau2 where all errors are equal, so that a secant on it needs few steps.

    Parameters
    ----------
    at : callable
        Solves the equations at a tau2.
    zero : Solved
    start : float
        The moment estimate [m4].
    look : bool
        Whether to look for several roots and take the likeliest.

    Returns
    -------
    Solved
        At the estimate; at zero where the likelihood only falls.
    """
    scale = start if start > 0.0 else 2.0 / max(zero.expected, 1e-300) ** 0.5
    if not look:
        return _root(at, zero, None, scale, CLOSE) if excess(zero) > 0.0 else zero
    grid = [zero, *(at(scale * 4.0**power) for power in range(-5, 6))]
    while excess(grid[-1]) > 0.0:
        grid.append(at(grid[-1].tau2 * 4.0))
    tops = [] if excess(zero) > 0.0 else [zero]
    for low, high in zip(grid, grid[1:], strict=False):
        if excess(low) > 0.0 >= excess(high):
            tops.append(_root(at, low, high, (low.tau2 + high.tau2) / 2.0, CLOSER))
    best = tops[0]
    for top in tops[1:]:
        if likelihood_gain(at, best.tau2, top.tau2) > 0.0:
            best = top
    return best


def excess(solved: Solved) -> float:
    """How much larger the squares are than expected, relative to themselves; positive below a REML root.

    Parameters
    ----------
    solved : Solved

    Returns
    -------
    float
        1 - expected / squares [1].
    """
    return 1.0 - solved.expected / solved.squares if solved.squares > 0.0 else -np.inf


def likelihood_gain(at: Callable[[float], Solved], low: float, high: float) -> float:
    """Restricted log likelihood at `high` less that at `low`: the integral of its slope.

    Parameters
    ----------
    at : callable
        Solves the equations at a tau2.
    low, high : float
        Two tau2 [m4].

    Returns
    -------
    float
        Gain [1].
    """
    nodes, weights = np.polynomial.legendre.leggauss(64)
    # the slope changes over decades of tau2: tau2 = low + (high - low) s^4
    s = (nodes + 1.0) / 2.0
    found = [at(low + (high - low) * x**4) for x in s]
    slope = np.array([(x.squares - x.expected) / 2.0 for x in found])
    return float((weights / 2.0) @ (slope * 4.0 * s**3) * (high - low))


def _root(at: Callable[[float], Solved], low: Solved, high: Solved | None, guess: float, close: float) -> Solved:
    """Where the excess passes zero: secant steps, kept within what is known."""
    before, found = low, at(guess)
    for _ in range(100):
        if excess(found) > 0.0:
            low = found
        else:
            high = found
        rise = excess(found) - excess(before)
        step = -excess(found) * (found.tau2 - before.tau2) / rise if rise else np.inf
        target = found.tau2 + step
        if abs(step) <= close * found.tau2:
            break
        if not low.tau2 < target < (np.inf if high is None else high.tau2):
            target = 4.0 * low.tau2 + guess if high is None else (low.tau2 + high.tau2) / 2.0
        before, found = found, at(target)
    return found

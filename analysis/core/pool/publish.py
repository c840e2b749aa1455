"""Which figures of a category are published in an edition: strata in their fixed order, each judged by what is hidden.

Every publication tells something of everybody behind it, and what was told once is never hidden again. So figures of a
stratum stand as they are until the evidence behind them has grown well, or somebody behind them has left; a first
publication waits until it can show most products; and a narrower stratum waits for the whole.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.core.arrays import Array
from analysis.core.pool.arms import Arms, Codes
from analysis.core.pool.fit import components, solve
from analysis.core.pool.hiding import ROUNDING_M2, Hidden
from analysis.core.pool.layout import counts, lay_out
from analysis.core.pool.weights import arm_weights

FEWEST_RIDERS = 3
GROWN = 2.0  # times the studies behind a table before it is made anew
GROWN_PARTLY = 1.3  # the same where it does not show every product that it could
SPEND = (0.50, 0.20, 0.20, 0.20)  # of a contributor that one publication may tell, by dimensions narrowed
SHOWN = (0.75, 0.0, 0.0, 0.0)  # of the products tested that a category's first table must show

FEW = "fewer than 3 riders have tested it here"
APART = "no test connects it to the products shown"
TELLING = "with it somebody's own results could be worked out; it returns when more riders have tested it"
WAITING = "too few riders yet: the figures of all riders come first"


@dataclass(frozen=True, slots=True)
class Stratum:
    """Rows of a category's arms in one stratum, and how many dimensions it narrows."""

    ways: int
    rows: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Standing:
    """What is known of a table that stands: studies behind it, products shown, whether everybody behind it is there."""

    studies: int
    shown: int
    whole: bool


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """Figures that are published: products by code, the first of `shown` is what the others are told against."""

    shown: Codes
    effects_m2: Array  # (shown,) whole multiples of the rounding
    covariance: Array  # (shown, shown)
    riders: Codes  # (products,)
    studies: Codes  # (products,)
    prediction_df: int  # riders less products
    all_studies: int
    withheld: Mapping[int, str]
    rows: Codes  # arms behind it
    weights: Array  # (shown - 1, rows)


def publish(
    arms: Arms,
    place: Codes,
    strata: Sequence[Stratum],
    standing: Mapping[int, Standing],
    hidden: Hidden,
    tau_m2: float,
    *,
    beside: Callable[[Table], None] = lambda table: None,
) -> dict[int, Table | None]:
    """New tables by number of stratum; None where a standing table is taken away. Those not named stay as they are.

    Parameters
    ----------
    arms : Arms
        The category's, sorted by study.
    place : ndarray, shape (n,)
        Where each arm stands in the unknowns of `hidden` [1].
    strata : sequence of Stratum
        In the order of audit, the first of them all arms.
    standing : mapping of int to Standing
        Tables of the edition before, by number of stratum [1].
    hidden : Hidden
        Knows every figure ever published; those published now are added.
    tau_m2 : float
        Of the whole category [m2].
    beside : callable
        Told of a new table of all arms before narrower ones are audited: what else is said of them all goes first.

    Returns
    -------
    dict of int to Table or None
        By number of stratum [1].
    """
    out: dict[int, Table | None] = {}
    whole = 0
    for number, stratum in enumerate(strata):
        old = standing.get(number)
        if old is not None and not old.whole:
            out[number], old = None, None
        draft = _Draft.of(arms, stratum, tau_m2) if stratum.ways == 0 or whole else None
        if draft is not None and (old is None or _has_grown(old, draft)):
            table = _audited(draft, place, hidden, old)
            if table is not None:
                out[number] = table
                if stratum.ways == 0:
                    beside(table)
        if stratum.ways == 0:
            now = out.get(number)
            whole = now.shown.size if now is not None else old.shown if old is not None else 0
    return out


def _has_grown(old: Standing, draft: _Draft) -> bool:
    wanted = GROWN if old.shown >= draft.able.size else GROWN_PARTLY
    return draft.studies >= wanted * old.studies


@dataclass(frozen=True, slots=True, eq=False)
class _Draft:
    """A stratum's pooled effects before anybody judged what may be shown."""

    arms: Arms
    rows: Codes
    ways: int
    tau2: float
    studies: int
    able: Codes  # products that enough riders tested, the base first
    effects: Array  # (products,)
    inverse: Array  # (products, products)
    riders: Codes
    tested: Codes
    connected: NDArray[np.bool_]
    prediction_df: int

    @classmethod
    def of(cls, arms: Arms, stratum: Stratum, tau_m2: float) -> _Draft | None:
        rows = _of_several(arms, np.flatnonzero(stratum.rows))
        if not rows.size:
            return None
        network = lay_out(arms.take(rows))
        sums = network.sums(tau_m2**2)
        riders, tested = counts(network)
        base = int(np.lexsort((-tested, -riders))[0])
        connected = components(sums.laplacian != 0.0, base) == 1
        members = np.flatnonzero(connected)
        solved = solve(sums, members, base, tau_m2**2)
        effects, inverse = np.zeros(riders.size), np.zeros((riders.size, riders.size))
        effects[members], inverse[np.ix_(members, members)] = solved.effects, solved.covariance
        order = np.argsort(-riders, kind="stable")
        able = order[(riders[order] >= FEWEST_RIDERS) & connected[order]]
        able = np.r_[base, able[able != base]] if able.size else able
        inside = np.unique(network.arms.rider[connected[network.arms.product]]).size
        return cls(
            arms,
            rows,
            stratum.ways,
            tau_m2**2,
            network.studies,
            able,
            effects,
            inverse,
            riders,
            tested,
            connected,
            inside - members.size,
        )


def _of_several(arms: Arms, rows: Codes) -> Codes:
    """Rows of studies with several arms."""
    size = np.bincount(arms.study[rows])
    return np.asarray(rows[size[arms.study[rows]] > 1])


def _audited(draft: _Draft, place: Codes, hidden: Hidden, old: Standing | None) -> Table | None:
    """The table of what may be shown; None where the old one, or nothing, is better."""
    if draft.able.size < 2:
        return None
    base, others = draft.able[0], draft.able[1:]
    weights = arm_weights(draft.arms.take(draft.rows), draft.tau2, draft.inverse[others] - draft.inverse[base])
    lines = np.zeros((others.size, hidden.unknowns.contributor.size))
    lines[:, place[draft.rows]] = weights
    first = SHOWN[draft.ways] * np.count_nonzero(draft.riders) if not hidden.count else 0.0
    mark, spend = hidden.mark(), SPEND[draft.ways]
    if hidden.allows(lines, spend):
        passed = np.arange(others.size)
    else:
        passed = np.array([at for at in range(others.size) if hidden.allows(lines[[at]], spend)], np.int64)
    wanted = max(2.0, first, 0.0 if old is None else old.shown)
    if passed.size + 1 < wanted:
        hidden.restore(mark)
        return None
    return _table(draft, np.r_[base, others[passed]], weights[passed])


def _table(draft: _Draft, shown: Codes, weights: Array) -> Table:
    effects = draft.effects[shown] - draft.effects[shown[0]]
    inner = draft.inverse[np.ix_(shown, shown)]
    covariance = inner - inner[0] - inner[:, [0]] + inner[0, 0]
    withheld = {
        int(product): FEW if draft.riders[product] < FEWEST_RIDERS else TELLING if draft.connected[product] else APART
        for product in range(draft.riders.size)
        if product not in shown
    }
    return Table(
        shown,
        np.round(effects / ROUNDING_M2) * ROUNDING_M2,
        covariance,
        draft.riders,
        draft.tested,
        draft.prediction_df,
        draft.studies,
        withheld,
        draft.rows,
        weights,
    )


def reasons(arms: Arms, rows: NDArray[np.bool_], *, waiting: bool) -> dict[int, str]:
    """Why a stratum without a table shows nothing.

    Parameters
    ----------
    arms : Arms
        The category's.
    rows : ndarray of bool, shape (n,)
        Those of the stratum [1].
    waiting : bool
        Whether the category's figures of all riders are not out yet [1].

    Returns
    -------
    dict of int to str
        By product [1].
    """
    products = len(arms.products)
    pairs = np.unique(arms.rider[rows] * products + arms.product[rows])
    riders = np.bincount(pairs % products, minlength=products)
    return {at: FEW if riders[at] < FEWEST_RIDERS else WAITING if waiting else TELLING for at in range(products)}

"""What a category's table says beside its effects: on how many riders a product was faster, and slopes.

Made with a new table of all riders and then left as they are, like its figures. Each enters the ledger as a line of
weights. A slope is one; a count is not, and is charged as the mean of the riders whom it counts. Both must leave more
of the riders behind them than figures must: a count tells signs beside, and later editions need what is left.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from analysis.core.arrays import Array
from analysis.core.pool.arms import Arms, Codes
from analysis.core.pool.hiding import FAR, ROUNDING_M2, Hidden
from analysis.core.pool.publish import TELLING
from analysis.core.pool.tallies import Group, counted_together, newcomers, own_means
from analysis.core.pool.transfer import Contrasts, contrasts_of, slope_weights, untold

LEAVE = 0.75
"""Share of a standard deviation that must be left of the riders behind a count or a slope; figures leave `JUDGED`."""
SPEND = 0.055
"""Of a contributor that one count or slope may tell: with more, narrower strata would have nothing left to tell."""


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """A moderator: for every arm how many of its steps; NaN where unknown or of neither kind."""

    name: str
    unit: str
    step: float
    values: Array  # (n,)


@dataclass(frozen=True, slots=True, eq=False)
class Behind:
    """The arms behind a table, and what is known of them; arrays over the arms."""

    arms: Arms
    owner: Codes  # key of the contributor, for as long as they are known
    place: Codes  # in the unknowns of the ledger
    columns: Sequence[Column]
    tau_m2: float  # as it is told: weights are made with it
    quantile: float  # of standard errors in the category's 95 % intervals, as it is told


@dataclass(frozen=True, slots=True)
class Slope:
    """How a difference changes with one step of a moderator; figures or a reason."""

    by: Column
    slope_m2: float | None = None
    ci95_m2: tuple[float, float] | None = None
    riders: int | None = None
    withheld: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Extras:
    """By product; the lines of what is published, over all arms, are for the ledger."""

    groups: Mapping[int, Group]  # new ones
    slopes: Mapping[int, Sequence[Slope]]
    lines: Array  # (m, n)


def extras_of(behind: Behind, shown: Codes, counted: Mapping[int, Codes], hidden: Hidden) -> Extras:
    """Counts and slopes of the products that a new table shows against its first.

    Parameters
    ----------
    behind : Behind
    shown : ndarray
        Codes of the products, the first of them the reference [1].
    counted : mapping of int to ndarray
        Keys of the riders who were counted before, by product; nobody where it has none [1].
    hidden : Hidden
        Knows every figure ever published; what is published now is added.

    Returns
    -------
    Extras
    """
    audit = _Audit(behind, hidden, [])
    pairs = {int(product): contrasts_of(behind.arms, int(product), int(shown[0])) for product in shown[1:]}
    nobody = np.empty(0, np.int64)
    found = {product: audit.group(pair, counted.get(product, nobody)) for product, pair in pairs.items()}
    slopes = {product: [audit.slope(pair, column) for column in behind.columns] for product, pair in pairs.items()}
    lines = np.array(audit.told).reshape(len(audit.told), behind.owner.size)
    return Extras({product: group for product, group in found.items() if group is not None}, slopes, lines)


@dataclass(frozen=True, slots=True, eq=False)
class _Audit:
    behind: Behind
    hidden: Hidden
    told: list[Array]

    def group(self, pair: Contrasts, counted: Codes) -> Group | None:
        """Newcomers of whom figures told little; who they are hangs on weights alone."""
        known = self.hidden.told[self._contributors(pair)] > FAR
        keys = self.behind.owner[pair.rows[0]]
        means = own_means(pair, keys)
        new = newcomers(means, np.r_[counted, keys[known]])
        if new is None:
            return None
        inside = self._contributors(pair.take(np.isin(keys, new)))
        if not self._allowed(pair, means.line(new), inside):
            return None
        self.hidden.counted = np.union1d(self.hidden.counted, inside)
        return counted_together(means, new)

    def slope(self, pair: Contrasts, column: Column) -> Slope:
        x = column.values[pair.rows[0]]
        known = np.asarray(np.isfinite(x))
        pair, x = pair.take(known), x[known][:, None]
        reason = untold(pair.rider, x)
        if reason is not None:
            return Slope(column, withheld=reason.reason)
        weights = slope_weights(pair, x, self.behind.tau_m2**2)[0]
        if not self._allowed(pair, weights, self._contributors(pair)):
            return Slope(column, withheld=TELLING)
        slope = round(float(np.round(weights @ pair.value_m2 / ROUNDING_M2)) * ROUNDING_M2, 4)
        riders = np.unique(pair.rider).size
        half = max(self.behind.quantile, float(stdtrit(riders - 2, 0.975))) * self._error(pair, weights)
        return Slope(column, slope, (slope - half, slope + half), riders)

    def _error(self, pair: Contrasts, weights: Array) -> float:
        """Of weights alone, and so nothing that the ledger does not know."""
        shared = np.bincount(pair.rider, weights)
        return float(np.sqrt(weights**2 @ pair.variance_m4 + self.behind.tau_m2**2 * (shared @ shared)))

    def _contributors(self, pair: Contrasts) -> Codes:
        """Of each study, as the ledger has them."""
        return np.asarray(self.hidden.unknowns.contributor[self.behind.place[pair.rows[0]]])

    def _allowed(self, pair: Contrasts, weights: Array, of: Codes) -> bool:
        line = np.zeros(self.behind.owner.size)
        line[pair.rows[0]], line[pair.rows[1]] = weights, -weights
        unknowns = np.zeros((1, self.hidden.unknowns.contributor.size))
        unknowns[0, self.behind.place] = line
        if not self.hidden.allows(unknowns, SPEND, leave=LEAVE, of=np.unique(of)):
            return False
        self.told.append(line)
        return True

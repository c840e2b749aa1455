"""On how many riders a product was faster: told of groups of riders who are counted once and together.

A count is no sum of values, so that no ledger of weights can judge what the difference of two counts gives away. So
nothing but whole groups is ever told: at least ten riders, none of whom was counted before for these two products, with
at least two on either side, so that one of them, who knows their own side, still knows nobody else's. Every difference
of two counts is then a sum of such groups' counts. A group stands as it was counted; when one of it leaves, all of it
is told no more. A group that is nearly of one mind is counted too, and never told: that it is not tells as much.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from analysis.core.arrays import Array
from analysis.core.pool.arms import Codes
from analysis.core.pool.transfer import Contrasts

FEWEST_COUNTED = 10
EITHER_SIDE = 2


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Riders counted together: their keys, ascending, and on how many of them the product was faster; None where that
    is never told."""

    riders: Codes
    faster: int | None

    def turned(self) -> Group:
        """The same for the reference against the product."""
        return Group(self.riders, None if self.faster is None else self.riders.size - self.faster)


@dataclass(frozen=True, slots=True, eq=False)
class OwnMeans:
    """Every rider's own mean difference of two products."""

    riders: Codes  # (k,) ascending
    differences_m2: Array  # (k,)
    which: Codes  # (n,) the rider of every study, as a place in `riders`
    share: Array  # (n,) what a study weighs in its rider's mean

    def line(self, riders: Codes) -> Array:
        """Weights of the studies in the plain mean over some riders."""
        among = np.isin(self.riders, riders)
        return np.asarray(self.share * among[self.which] / max(1, int(np.count_nonzero(among))))


def own_means(contrasts: Contrasts, keys: Codes) -> OwnMeans:
    """Each rider's mean over their studies, by the studies' errors.

    Parameters
    ----------
    contrasts : Contrasts
        Of n studies [m2].
    keys : ndarray, shape (n,)
        The key of each study's rider [1].

    Returns
    -------
    OwnMeans
    """
    riders, which = np.unique(keys, return_inverse=True)
    weight = 1.0 / contrasts.variance_m4
    share = weight / np.bincount(which, weight)[which]
    differences = np.asarray(np.bincount(which, share * contrasts.value_m2), np.float64)
    return OwnMeans(riders, differences, which.astype(np.int64), np.asarray(share))


def newcomers(means: OwnMeans, counted: Codes) -> Codes | None:
    """Those who were never counted, where they are enough; nobody's values are looked at.

    Parameters
    ----------
    means : OwnMeans
    counted : ndarray
        Keys of the riders who are not to be counted (again) for these two products [1].

    Returns
    -------
    ndarray or None
        Their keys [1].
    """
    new = means.riders[~np.isin(means.riders, counted)]
    return new if new.size >= FEWEST_COUNTED else None


def counted_together(means: OwnMeans, riders: Codes) -> Group:
    """Count these riders.

    Parameters
    ----------
    means : OwnMeans
        Product less reference: negative is faster [m2].
    riders : ndarray
        Keys [1].

    Returns
    -------
    Group
    """
    own = means.differences_m2[np.isin(means.riders, riders)]
    faster = int(np.count_nonzero(own < 0.0))
    return Group(riders, faster if EITHER_SIDE <= faster <= own.size - EITHER_SIDE else None)


def tally(groups: Iterable[Group], there: Codes) -> tuple[int, int] | None:
    """On how many riders a product was faster, and of how many, over the groups that are still whole.

    Parameters
    ----------
    groups : iterable of Group
    there : ndarray
        Keys of the riders who are in the evidence for these two products now [1].

    Returns
    -------
    tuple of int or None
        Faster, and counted; None where no group is whole and told [1].
    """
    whole = [
        (group.faster, int(group.riders.size))
        for group in groups
        if group.faster is not None and np.isin(group.riders, there).all()
    ]
    return (sum(one for one, _ in whole), sum(of for _, of in whole)) if whole else None

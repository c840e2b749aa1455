"""What pooling is given: a row per product tested in a study, as codes and numbers. Files and who may see what do not
belong here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.core.arrays import Array

Codes = NDArray[np.int64]
DIGIT = 16  # bits that one pass of numpy's radix sort orders in linear time


class PoolRefused(ValueError):
    """The arms cannot be pooled at all; the text says what was found and what to do."""


@dataclass(frozen=True, slots=True, eq=False)
class Arms:
    """Arms of studies; arrays of shape (n,), codes count from 0 and `products` gives a product's name by its code.

    `se_m2` squared and summed over two arms of a study is the variance of their difference.
    """

    study: Codes
    rider: Codes
    product: Codes
    value_m2: Array
    se_m2: Array
    products: tuple[str, ...]

    def take(self, rows: NDArray[np.bool_] | Codes) -> Arms:
        """The same products, only these rows."""
        return Arms(
            self.study[rows],
            self.rider[rows],
            self.product[rows],
            self.value_m2[rows],
            self.se_m2[rows],
            self.products,
        )


def arms_of(study: Sequence[str], rider: Sequence[str], product: Sequence[str], value_m2: Array, se_m2: Array) -> Arms:
    """Arms from names.

    Parameters
    ----------
    study, rider, product : sequences of str
    value_m2 : ndarray, shape (n,)
        What was measured, up to a level common to the study [m2].
    se_m2 : ndarray, shape (n,)
        Its standard error [m2].

    Returns
    -------
    Arms
    """
    (_, studies), (_, riders), (names, codes) = (
        np.unique(np.asarray(names), return_inverse=True) for names in (study, rider, product)
    )
    return Arms(
        studies.astype(np.int64),
        riders.astype(np.int64),
        codes.astype(np.int64),
        np.asarray(value_m2, np.float64),
        np.asarray(se_m2, np.float64),
        tuple(map(str, names)),
    )


def order_of(keys: Codes) -> Codes:
    """Rows in the order of their keys, ties as they stood; linear in the rows.

    Parameters
    ----------
    keys : ndarray, shape (n,)
        Integers from 0 [1].

    Returns
    -------
    ndarray, shape (n,)
        Row numbers [1].
    """
    order = np.argsort((keys & 0xFFFF).astype(np.uint16), kind="stable")
    top = int(keys.max(initial=0)) >> DIGIT
    shift = DIGIT
    while top:
        digit = ((keys[order] >> shift) & 0xFFFF).astype(np.uint16)
        order = order[np.argsort(digit, kind="stable")]
        top, shift = top >> DIGIT, shift + DIGIT
    return order


def repeated(arms: Arms) -> bool:
    """Whether a product stands twice in a study.

    Parameters
    ----------
    arms : Arms

    Returns
    -------
    bool
        Whether any does [1].
    """
    keys = np.sort(arms.study * len(arms.products) + arms.product)
    return bool((keys[1:] == keys[:-1]).any())

"""How the numeric functions refuse an argument: its name, the rule, the value and a guess at the mistake."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analysis.core.types import Array


def within(name: str, value: ArrayLike, least: float, most: float, guess: str = "") -> Array:
    """An argument as an array, refused when a value lies outside; NaN is a gap and passes.

    Parameters
    ----------
    name : str
        Name of the argument, with its unit.
    value : array_like
        What was given [unit of the argument].
    least, most : float
        Bounds, both allowed [unit of the argument].
    guess : str
        The likely mistake, as a question.

    Returns
    -------
    ndarray
        The argument as float64 [unit of the argument].

    Raises
    ------
    ValueError
        A value outside the bounds.
    """
    array = np.asarray(value, dtype=np.float64)
    outside = (array < least) | (array > most)
    if np.any(outside):
        found = float(array[outside].flat[0])
        hint = f" ({guess})" if guess else ""
        raise ValueError(f"{name} must be in [{least:g}, {most:g}]; got {found:g}{hint}")
    return array


def positive(name: str, value: ArrayLike) -> Array:
    """An argument as an array, refused unless all its values are finite and above zero.

    Parameters
    ----------
    name : str
        Name of the argument, with its unit.
    value : array_like
        What was given [unit of the argument].

    Returns
    -------
    ndarray
        The argument as float64 [unit of the argument].

    Raises
    ------
    ValueError
        A value that is not above zero, or infinite.
    """
    array = np.asarray(value, dtype=np.float64)
    refused = ~(array > 0) | np.isinf(array)
    if np.any(refused):
        raise ValueError(f"{name} must be above 0 and finite; got {float(array[refused].flat[0]):g}")
    return array

"""How numbers are printed: the one rounding rule, shared by the report and the pages.

A number is the stored one, at most brought to the reader's unit (m/s to km/h) and rounded once, to the nearest.
What a number means is `wording.py`'s matter.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

MINUS = "\N{MINUS SIGN}"
NO_BREAK = "\N{NO-BREAK SPACE}"
ABSENT = "not known"

PLACES = {
    "m2": 4,
    "W": 1,
    "s": 1,
    "km/h": 1,
    "kg/m3": 3,
    "deg": 1,
    "crr": 5,
}
"""Places after the decimal point, by unit; a standard uncertainty has two significant digits instead."""

RULE = (
    "Printed numbers are the stored ones, rounded once, to the nearest: drag areas to 0.0001 m\N{SUPERSCRIPT TWO}, "
    "watts, seconds, km/h, degrees and degrees of freedom to 0.1, air density to 0.001 kg/m\N{SUPERSCRIPT THREE}, "
    "rolling coefficients to 0.00001, standard deviations and p to two significant digits."
)


def rounded(value: float, places: int) -> str:
    """The number to so many places, with a true minus sign and never a minus zero."""
    text = f"{value:.{places}f}"
    if text.startswith("-"):
        text = MINUS + text[1:] if text.strip("-0.") else text[1:]
    return text


def signed(value: float, places: int) -> str:
    """As `rounded`, with a plus sign where the number is above zero."""
    text = rounded(value, places)
    return text if text.startswith(MINUS) or not text.strip("0.") else f"+{text}"


def amount(value: float | None, unit: str) -> str:
    """The number without a sign rule of its own, in its unit's places; absent numbers are said to be so."""
    return ABSENT if value is None else rounded(value, PLACES[unit])


def difference(value: float | None, unit: str) -> str:
    return ABSENT if value is None else signed(value, PLACES[unit])


def interval(ends: Sequence[float] | None, unit: str) -> str:
    """`from to` of an interval of differences, both ends signed."""
    return ABSENT if ends is None else f"{signed(ends[0], PLACES[unit])} to {signed(ends[1], PLACES[unit])}"


def span(values: Sequence[float], unit: str) -> str:
    """Smallest to largest, or the one number where they print alike."""
    low, high = rounded(min(values), PLACES[unit]), rounded(max(values), PLACES[unit])
    return low if low == high else f"{low} to {high}"


def two_digits(value: float) -> str:
    """Two significant digits, written out."""
    return f"{Decimal(f'{value:.1e}'):f}".replace("-", MINUS)


def plain(value: object) -> str:
    """A number as it was entered, without a superfluous point zero."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    return f"{value:.10g}".replace("-", MINUS)

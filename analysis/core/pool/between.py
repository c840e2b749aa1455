"""The last steps to the best tau2: sums between two values of tau2 are told from those at both.

With h = tau2 / 2 the slope of G is -G^2, so that every sum comes with its own: that of L is -sum B'G G B, that of the
right side -sum B'G z, that of y'P y -z'z. A cubic through two values with their slopes (Hermite) then says what lies
between; where they are a share d of tau2 apart it is wrong by d^4 in a sum and by some d^3 in a slope.
"""

from __future__ import annotations

import numpy as np

from analysis.core.arrays import Array
from analysis.core.pool.layout import Network
from analysis.core.pool.sums import Sums

NEAR = 0.004  # of tau2: slopes are then told to 1e-7
APART = 1e-4  # of what arms scatter by: nearer to each other, their difference has too few digits for a slope
BEYOND = 0.5  # of the distance of the two: as far as the cubic is followed outside of them


class Between:
    """Sums of a network at any tau2, told from the last two that were summed where they are near enough."""

    def __init__(self, network: Network) -> None:
        self.network = network
        self.summed: list[tuple[float, Sums]] = []

    def sums(self, tau2: float) -> Sums:
        """Sum over all studies at this tau2."""
        if len(self.summed) == 2:
            (a, first), (b, second) = self.summed
            scatter = first.trace / max(float(np.trace(first.squared)), 1e-300)
            if APART * scatter <= abs(b - a) <= NEAR * tau2 and -BEYOND <= (tau2 - a) / (b - a) <= 1.0 + BEYOND:
                return _told(first, second, (b - a) / 2.0, (tau2 - a) / (b - a))
        found = self.network.sums(tau2)
        self.summed = [*self.summed[-1:], (tau2, found)]
        return found


def _told(first: Sums, second: Sums, apart: float, at: float) -> Sums:
    """Sums at a share of the way from the first to the second."""

    def cubic(a: Array, fall_a: Array, b: Array, fall_b: Array) -> tuple[Array, Array]:
        """Value and what it falls by in h; both fall at the two ends."""
        rise = b - a
        bend_a, bend_b = -fall_a * apart - rise, rise + fall_b * apart
        back = 1.0 - at
        value = back * a + at * b + at * back * (back * bend_a + at * bend_b)
        slope = rise + back * (1.0 - 3.0 * at) * bend_a + at * (2.0 - 3.0 * at) * bend_b
        return value, -slope / apart

    laplacian, squared = cubic(first.laplacian, first.squared, second.laplacian, second.squared)
    rhs, g_rhs = cubic(first.rhs, first.g_rhs, second.rhs, second.g_rhs)
    y_p_y, z_z = cubic(*(np.array(x) for x in (first.y_p_y, first.z_z, second.y_p_y, second.z_z)))
    return Sums(laplacian, squared, rhs, g_rhs, float(np.trace(laplacian)), float(z_z), float(y_p_y))

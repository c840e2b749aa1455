"""How far one rider carries a difference: the product's effect without each of those who weigh most in it.

What is left when a rider is taken out tells what they measured: it is for those who may read that anyway.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.core.arrays import Array
from analysis.core.pool.arms import Arms
from analysis.core.pool.fit import Fit, fit
from analysis.core.pool.weights import arm_weights

MOST_RIDERS = 60
"""Riders who are left out one by one at most: each takes a fit of its own."""


@dataclass(frozen=True, slots=True)
class Effect:
    """A product against the reference."""

    effect_m2: float
    se_m2: float
    tau_m2: float | None


@dataclass(frozen=True, slots=True)
class LeftOut:
    """The same without one rider; None where nothing connects the two products then."""

    rider: int
    share: float  # of all weights
    effect: Effect | None


def influence(arms: Arms, product: int, reference: int) -> tuple[Effect | None, Sequence[LeftOut]]:
    """A product's effect, and without each rider, who weighs most first; tau2 is estimated anew each time.

    Parameters
    ----------
    arms : Arms
    product, reference : int
        Codes [1].

    Returns
    -------
    tuple of Effect or None, and sequence of LeftOut
        None and nothing where no study connects the two [m2].

    References
    ----------
    Viechtbauer & Cheung (2010), Res. Synth. Methods 1:112-125 (case deletion in meta-analysis).
    """
    fitted = fit(arms, reference)
    whole = _effect(fitted, product)
    if whole is None:
        return None, ()
    share = shares(fitted, product)
    heaviest = np.argsort(-share, kind="stable")[:MOST_RIDERS]
    return whole, tuple(
        LeftOut(int(rider), float(share[rider]), _effect(fit(arms.take(arms.rider != rider), reference), product))
        for rider in heaviest
        if share[rider] > 0.0
    )


def shares(fitted: Fit, product: int) -> Array:
    """What each rider weighs in a product's effect.

    Parameters
    ----------
    fitted : Fit
    product : int
        Code of a product that is connected to the reference [1].

    Returns
    -------
    ndarray, shape (riders,)
        Shares that add to 1, by the rider's code [1].
    """
    arms = fitted.network.arms
    wanted = np.zeros((1, len(arms.products)))
    wanted[0, fitted.members] = fitted.best.covariance[fitted.place[product]]
    weight = np.abs(arm_weights(arms, fitted.best.tau2, wanted)[0])
    by_rider = np.bincount(arms.rider, weight)
    return np.asarray(by_rider / max(by_rider.sum(), 1e-300))


def _effect(fitted: Fit, product: int) -> Effect | None:
    at = int(fitted.place[product])
    if at < 0 or not fitted.network.studies:
        return None
    variance = float(fitted.best.covariance[at, at])
    tau = None if fitted.tau2 is None else float(np.sqrt(fitted.tau2))
    return Effect(float(fitted.best.effects[at]), float(np.sqrt(max(variance, 0.0))), tau)

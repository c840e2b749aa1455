"""What a whole category says of itself and lends to its strata: tau, Q and how wide intervals are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import chdtrc

from analysis.core.pool.evidence import q_within_designs
from analysis.core.pool.fit import Fit
from analysis.core.pool.standings import FEW_RIDERS, hartung_knapp_factor, i_squared, interval_quantile

RIDERS_FOR_SPREAD = 10
TAU_DIGITS = 4  # as figures are rounded: weights are made with the tau that is told, so that they tell no more of it


@dataclass(frozen=True, slots=True)
class Facts:
    """Figures of a category; None where they cannot be said or may not."""

    tau_used_m2: float
    enough: bool  # riders for anything that depends on how riders spread
    tau_m2: float | None = None
    tau_dl_m2: float | None = None
    q: float | None = None
    df: int | None = None
    i2: float | None = None
    inconsistency_p: float | None = None
    interval_method: str | None = None
    quantile: float | None = None  # of standard errors on each side of a 95 % interval

    def document(self) -> dict[str, Any]:
        """Plain values by name, without what is for the making only."""
        names = ("tau_m2", "tau_dl_m2", "q", "df", "i2", "inconsistency_p", "interval_method", "quantile")
        return {name: getattr(self, name) for name in names}


def facts_of(fitted: Fit) -> Facts:
    """Facts of a category from its fit, rounded so that they tell little of anybody.

    Parameters
    ----------
    fitted : Fit
        A category's model, fitted [m2].

    Returns
    -------
    Facts
        Spread and consistency of the category [m2].
    """
    tau = round(float(np.sqrt(fitted.best.tau2)), TAU_DIGITS)
    riders = fitted.network.riders
    if riders < RIDERS_FOR_SPREAD or fitted.tau2 is None or fitted.tau2_dl is None:
        return Facts(tau, enough=False)
    within, df_within = q_within_designs(fitted.network.arms)
    between, df_between = max(0.0, fitted.zero.q - within), fitted.df - df_within
    share = i_squared(fitted)
    return Facts(
        tau_used_m2=tau,
        enough=True,
        tau_m2=tau,
        tau_dl_m2=round(float(np.sqrt(fitted.tau2_dl)), TAU_DIGITS),
        q=round(fitted.zero.q, 1),
        df=fitted.df,
        i2=None if share is None else round(share, 2),
        inconsistency_p=round(float(chdtrc(df_between, between)), 2) if df_between > 0 else None,
        interval_method="hartung-knapp" if riders < FEW_RIDERS else "normal",
        quantile=round(float(interval_quantile(fitted) * np.sqrt(hartung_knapp_factor(fitted))), 2),
    )

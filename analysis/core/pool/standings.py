"""Standings of products over all riders: the fit turned into figures, nulls where nothing can be said."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from scipy.special import chdtrc, ndtr, ndtri, stdtrit

from analysis.core.pool.arms import Arms, Codes, PoolRefused
from analysis.core.pool.evidence import Direct, direct_evidence, q_within_designs
from analysis.core.pool.fit import DIFFER, Fit, fit
from analysis.core.pool.rank import probability_of_smallest, rank_score

FEW_RIDERS = 30
Interval = tuple[float, float]


@dataclass(frozen=True, slots=True)
class ProductStanding:
    """One product against the reference; smaller is faster."""

    product: str
    effect_m2: float | None
    se_m2: float | None
    ci95_m2: Interval | None
    prediction95_m2: Interval | None
    p_best: float | None
    score: float | None
    riders: int
    studies: int
    component: int
    direct_m2: float | None = None
    direct_se_m2: float | None = None
    direct_studies: int = 0
    indirect_m2: float | None = None
    indirect_se_m2: float | None = None
    direct_against_indirect_p: float | None = None


@dataclass(frozen=True, slots=True)
class Standings:
    """All products, the fastest first; those not connected to the reference last."""

    reference: str
    tau_m2: float | None
    tau_dl_m2: float | None
    q: float | None
    df: int | None
    i2: float | None
    inconsistency_p: float | None
    interval_method: Literal["hartung-knapp", "normal"] | None
    products: tuple[ProductStanding, ...]
    q_within: float | None
    df_within: int | None
    q_between: float | None
    df_between: int | None
    riders: int
    studies: int


def pool(arms: Arms, *, reference: str) -> Standings:
    """Pool arms over riders.

    Parameters
    ----------
    arms : Arms
        Values with their errors [any unit].
    reference : str
        Product that the others are told against [1].

    Returns
    -------
    Standings
        Effects, intervals and ranks [unit of the arms].

    Raises
    ------
    PoolRefused
        Where the reference is no product of the arms, or it is the only one, or errors differ beyond all numbers.

    References
    ----------
    Hartung & Knapp (2001), Stat. Med. 20:3875-3889; Higgins, Thompson & Spiegelhalter (2009), J. R. Stat. Soc. A
    172:137-159 (prediction); Krahn, Binder & Koenig (2013), BMC Med. Res. Methodol. 13:35 (designs).
    """
    if reference not in arms.products:
        near = difflib.get_close_matches(reference, arms.products, 3, 0.0)
        raise PoolRefused(f"No arm tests the reference '{reference}'; the nearest products are: {', '.join(near)}.")
    if len(arms.products) < 2:
        raise PoolRefused(f"'{reference}' is the only product: nothing can be compared with it. Add arms of another.")
    try:
        return _standings(arms, arms.products.index(reference))
    except np.linalg.LinAlgError:
        raise PoolRefused(DIFFER) from None


def _standings(arms: Arms, code: int) -> Standings:
    fitted = fit(arms, code)
    riders, studies = fitted.riders, fitted.studies
    network = fitted.network
    some = network.studies > 0
    within, df_within = q_within_designs(network.arms) if some else (0.0, 0)
    between, df_between = max(0.0, fitted.zero.q - within), fitted.df - df_within
    rows = (
        _rows(fitted, code, riders, studies)
        if some
        else [_apart(fitted, product, riders, studies, reference=code) for product in range(len(arms.products))]
    )
    known = some and fitted.tau2 is not None
    return Standings(
        reference=arms.products[code],
        tau_m2=_root_of(fitted.tau2) if some else None,
        tau_dl_m2=_root_of(fitted.tau2_dl) if some else None,
        q=fitted.zero.q if some else None,
        df=fitted.df if some else None,
        i2=i_squared(fitted) if some else None,
        inconsistency_p=float(chdtrc(df_between, between)) if some and df_between > 0 else None,
        interval_method=("hartung-knapp" if network.riders < FEW_RIDERS else "normal") if known else None,
        products=tuple(sorted(rows, key=_rank)),
        q_within=within if some else None,
        df_within=df_within if some else None,
        q_between=between if some else None,
        df_between=df_between if some else None,
        riders=network.riders,
        studies=network.studies,
    )


def _rank(row: ProductStanding) -> tuple[Any, ...]:
    return (row.effect_m2 is None, row.effect_m2 or 0.0, row.component, row.product)


def _root_of(tau2: float | None) -> float | None:
    return None if tau2 is None else float(np.sqrt(tau2))


def i_squared(fitted: Fit) -> float | None:
    """Share of Q beyond chance.

    Parameters
    ----------
    fitted : Fit

    Returns
    -------
    float or None
        Share; None without degrees of freedom [1].
    """
    if fitted.df <= 0:
        return None
    return max(0.0, (fitted.zero.q - fitted.df) / fitted.zero.q) if fitted.zero.q > 0.0 else 0.0


def _apart(fitted: Fit, product: int, riders: Codes, studies: Codes, *, reference: int) -> ProductStanding:
    """A product that nothing connects to the reference, or the reference that nothing was tested against."""
    own = product == reference
    return ProductStanding(
        product=fitted.network.arms.products[product],
        effect_m2=0.0 if own else None,
        se_m2=0.0 if own else None,
        ci95_m2=(0.0, 0.0) if own else None,
        prediction95_m2=(0.0, 0.0) if own else None,
        p_best=None,
        score=None,
        riders=int(riders[product]),
        studies=int(studies[product]),
        component=int(fitted.component[product]),
    )


def _rows(fitted: Fit, reference: int, riders: Codes, studies: Codes) -> list[ProductStanding]:
    effects, covariance = fitted.best.effects, fitted.best.covariance
    variance = np.maximum(np.diag(covariance), 0.0)
    known = fitted.tau2 is not None
    half = (
        interval_quantile(fitted) * np.sqrt(variance * hartung_knapp_factor(fitted))
        if known
        else np.full(effects.size, np.nan)
    )
    spread = _prediction_quantile(fitted) * np.sqrt(variance + fitted.best.tau2)
    joint = (fitted.joint.effects, fitted.joint.covariance)
    best = probability_of_smallest(*joint) if known else np.full(effects.size, np.nan)
    score = rank_score(*joint) if known else best
    direct = direct_evidence(fitted, reference)
    place, rows = fitted.place, []
    for product, name in enumerate(fitted.network.arms.products):
        at = int(place[product])
        if at < 0:
            rows.append(_apart(fitted, product, riders, studies, reference=reference))
            continue
        own = product == reference
        effect = float(effects[at])
        rows.append(
            ProductStanding(
                name,
                effect,
                float(np.sqrt(variance[at])),
                (0.0, 0.0) if own else _about(effect, half[at]),
                (0.0, 0.0) if own else _about(effect, spread[at]),
                _number(best[at]),
                _number(score[at]),
                int(riders[product]),
                int(studies[product]),
                1,
                **({} if own else _against(direct, product, effect, float(variance[at]))),
            )
        )
    return rows


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _about(effect: float, half: float) -> Interval | None:
    return (effect - float(half), effect + float(half)) if np.isfinite(half) else None


def hartung_knapp_factor(fitted: Fit) -> float:
    """Hartung and Knapp's factor on the variance, floored at 1; 1 where riders are many.

    Parameters
    ----------
    fitted : Fit

    Returns
    -------
    float
        Factor [1].
    """
    return max(1.0, fitted.best.q / fitted.df) if fitted.network.riders < FEW_RIDERS else 1.0


def interval_quantile(fitted: Fit) -> float:
    """Quantile of 95 % intervals: Student's t where riders are few.

    Parameters
    ----------
    fitted : Fit

    Returns
    -------
    float
        Quantile, NaN without degrees of freedom [1].
    """
    if fitted.network.riders >= FEW_RIDERS:
        return float(ndtri(0.975))
    df = min(fitted.df, fitted.network.riders - 1)
    return float(stdtrit(df, 0.975)) if df > 0 else float("nan")


def _prediction_quantile(fitted: Fit) -> float:
    df = fitted.network.riders - fitted.members.size
    return float(stdtrit(df, 0.975)) if df > 0 and fitted.tau2 is not None else float("nan")


def _against(direct: Direct, product: int, effect: float, variance: float) -> dict[str, Any]:
    """Direct evidence, and what the rest of the network must say for both to give the network's effect."""
    if not direct.studies[product]:
        return {"indirect_m2": effect, "indirect_se_m2": float(np.sqrt(variance))}
    own, own_variance = float(direct.effects[product]), float(direct.variance[product])
    out: dict[str, Any] = {
        "direct_m2": own,
        "direct_se_m2": float(np.sqrt(own_variance)),
        "direct_studies": int(direct.studies[product]),
    }
    rest = 1.0 / variance - 1.0 / own_variance
    if rest > 1e-9 / variance:
        other = (effect / variance - own / own_variance) / rest
        z = abs(own - other) / np.sqrt(own_variance + 1.0 / rest)
        out |= {
            "indirect_m2": other,
            "indirect_se_m2": float(np.sqrt(1.0 / rest)),
            "direct_against_indirect_p": float(2.0 * ndtr(-z)),
        }
    return out


def standings_document(standings: Standings) -> dict[str, Any]:
    """The published document `standings/1`.

    Parameters
    ----------
    standings : Standings

    Returns
    -------
    dict
        Plain JSON values, null where nothing can be said; effects in the unit of the arms [m2].
    """
    plain = {name: getattr(standings, name) for name in Standings.__dataclass_fields__ if name != "products"}
    rows = [
        {name: list(x) if isinstance(x := getattr(row, name), tuple) else x for name in row.__dataclass_fields__}
        for row in standings.products
    ]
    return {"schema": "standings/1", **plain, "products": rows}

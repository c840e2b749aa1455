"""Quantiles for intervals: Student's t, Dunnett's simultaneous t, power of a two-sample t test.

Only scipy.special is used: importing scipy.stats would double the time a session takes from the command line.
"""

from __future__ import annotations

import numpy as np
from scipy.special import gammaln, log_ndtr, ndtr, stdtr, stdtrit

from analysis.core.types import Array


def t_quantile(probability: float, df: float) -> float:
    """Quantile of Student's t.

    Parameters
    ----------
    probability : float
        Probability [1].
    df : float
        Degrees of freedom [1].

    Returns
    -------
    float
        Quantile [1].
    """
    return float(stdtrit(df, probability))


def t_two_sided_p(t: float, df: float) -> float:
    """Probability of a t at least as far from zero.

    Parameters
    ----------
    t : float
        Value of t [1].
    df : float
        Degrees of freedom [1].

    Returns
    -------
    float
        P-value [1].
    """
    return float(2.0 * stdtr(df, -abs(t)))


def dunnett_quantile(correlation: Array, df: float, probability: float = 0.95) -> float:
    """Two-sided critical value for all setups against one reference.

    The correlation of the contrasts is written as a product structure r_ij = l_i l_j, exact for independent
    arms against one reference, else fitted; given the common part they are independent, so that the joint
    probability is a double integral over the common normal and the common scale.

    Parameters
    ----------
    correlation : ndarray
        Of the contrasts, shape (k, k) [1].
    df : float
        Degrees of freedom of the common variance [1].
    probability : float
        Joint coverage [1].

    Returns
    -------
    float
        Critical value [1].

    References
    ----------
    Dunnett (1955), J. Am. Stat. Assoc. 50:1096-1121; Dunnett (1964), Biometrics 20:482-491.
    """
    if correlation.shape[0] == 1:
        return t_quantile(0.5 + probability / 2.0, df)
    loading = _loadings(correlation)
    low, high = (
        t_quantile(0.5 + probability / 2.0, df),
        t_quantile(1.0 - (1.0 - probability) / (2.0 * loading.size), df),
    )
    at_low, at_high = (_joint_probability(c, loading, df) - probability for c in (low, high))
    middle = high
    for _ in range(40):  # regula falsi (Illinois): the probability is smooth and rises
        if at_high - at_low < 1e-12:
            break
        middle = low - at_low * (high - low) / (at_high - at_low)
        at_middle = _joint_probability(middle, loading, df) - probability
        if abs(at_middle) < 1e-8:
            break
        if at_middle < 0.0:
            low, at_low, at_high = middle, at_middle, 0.5 * at_high
        else:
            high, at_high, at_low = middle, at_middle, 0.5 * at_low
    return float(middle)


def _loadings(correlation: Array) -> Array:
    """l with l_i l_j close to the correlations off the diagonal, by alternating least squares."""
    k = correlation.shape[0]
    if k == 2:
        root = float(np.sqrt(abs(correlation[0, 1])))
        return np.asarray(np.clip([root, root * np.sign(correlation[0, 1])], -0.999, 0.999))
    loading = np.full(k, np.sqrt(max(float(np.mean(correlation[~np.eye(k, dtype=bool)])), 0.01)))
    for _ in range(200):
        for i in range(k):
            others = np.arange(k) != i
            loading[i] = float(correlation[i, others] @ loading[others] / max(loading[others] @ loading[others], 1e-12))
    return np.asarray(np.clip(loading, -0.999, 0.999))


def _joint_probability(critical: float, loading: Array, df: float) -> float:
    nodes, weights = np.polynomial.hermite_e.hermegauss(48)
    weights = weights / np.sqrt(2.0 * np.pi)
    scale, density = _scale_nodes(df)
    root = np.sqrt(1.0 - loading**2)
    inside = np.ones((scale.size, nodes.size))
    for common, own in zip(loading, root, strict=True):
        top = (critical * scale[:, None] - common * nodes) / own
        bottom = (-critical * scale[:, None] - common * nodes) / own
        inside *= ndtr(top) - ndtr(bottom)
    return float(density @ inside @ weights)


def _scale_nodes(df: float) -> tuple[Array, Array]:
    """Nodes for s / sigma, distributed as chi over root df."""
    if df >= 900:
        return np.ones(1), np.ones(1)
    x, w = np.polynomial.legendre.leggauss(64)
    spread = 6.0 / np.sqrt(2.0 * df)
    low, high = max(0.0, 1.0 - spread), 1.0 + spread + 4.0 / df
    s = 0.5 * (high - low) * x + 0.5 * (high + low)
    log_density = (
        np.log(2.0) + 0.5 * df * np.log(0.5 * df) - gammaln(0.5 * df) + (df - 1.0) * np.log(s) - 0.5 * df * s**2
    )
    density = np.exp(log_density) * w * 0.5 * (high - low)
    return s, density / density.sum()


def power_of_t(effect_over_se: float, df: float, alpha: float = 0.05) -> float:
    """Chance that a two-sided t test finds an effect: the noncentral t, integrated over the scale.

    Parameters
    ----------
    effect_over_se : float
        True effect over its standard error [1].
    df : float
        Degrees of freedom [1].
    alpha : float
        Error rate [1].

    Returns
    -------
    float
        Power [1].
    """
    critical = t_quantile(1.0 - alpha / 2.0, df)
    s, density = _scale_nodes(df)
    over = np.exp(log_ndtr(effect_over_se - critical * s)) + np.exp(log_ndtr(-effect_over_se - critical * s))
    return float(density @ over)

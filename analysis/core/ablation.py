"""What each part of the estimator is worth: the same estimate with one of them taken out, for the yardstick only."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.core.joint import Evidence

PARTS = {
    "alignment": "passes lie where the wheel and the turns place them",
    "odd-stretches": "no stretch is left out for being unlike its twins",
    "drift": "the air sensor's gain never drifts",
    "departures": "one gain for the whole session, whatever the setup",
    "shared-gain": "every run has its own gain, by its own closure",
}


def with_gain(evidence: Evidence, without: frozenset[str]) -> Evidence:
    """The evidence with the gain shared more, or not at all.

    Parameters
    ----------
    evidence : Evidence
        What each run says [1].
    without : frozenset of str
        Names of `PARTS` that are taken out [1].

    Returns
    -------
    Evidence
        Unchanged where the gain is not concerned [1].
    """
    if "departures" in without:
        evidence = replace(evidence, departures=False)
    if "shared-gain" in without and evidence.log_gain is not None and evidence.gain_covariance is not None:
        squared = np.exp(2.0 * evidence.log_gain)
        grow = np.concatenate([squared, np.ones(evidence.crr.size)])
        level = evidence.apparent_m2 * squared
        covariance = evidence.balance_covariance * np.outer(grow, grow)
        runs = slice(0, level.size)
        covariance[runs, runs] += 4.0 * np.outer(level, level) * evidence.gain_covariance
        own = evidence.own_variance * squared**2 + 4.0 * level**2 * np.diag(evidence.gain_covariance)
        evidence = replace(
            evidence, apparent_m2=level, balance_covariance=covariance, own_variance=own, log_gain=None,
            gain_covariance=None, power_share_m2=evidence.power_share_m2 * squared,
            rolling_share_m2=evidence.rolling_share_m2 * squared,
            reach={name: grow[:, None] * pull for name, pull in evidence.reach.items()},
        )  # fmt: skip
    return evidence

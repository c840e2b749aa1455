"""Sessions without sensors' noise: drag areas of runs as a textbook has its samples."""

from collections.abc import Sequence

import numpy as np

from analysis.core.joint import Drift, Evidence, Joint, Model
from analysis.core.types import Repeatability

NOTHING_KNOWN = Repeatability(0.003, 0.0)  # a history of nothing: only the session tells the scatter


def solved(cells: Sequence[np.ndarray]) -> Joint:
    """The session whose setups repeat as the samples do; the first is the reference."""
    runs, setups = sum(len(c) for c in cells), len(cells)
    evidence = Evidence(
        setup=np.repeat(np.arange(setups), [len(c) for c in cells]), time_h=np.zeros(runs),
        apparent_m2=np.concatenate(list(cells)), crr=np.array([0.004]), crr_state=np.zeros(setups, dtype=int),
        balance_covariance=np.diag([1e-14] * runs + [1e-8]), log_gain=None, gain_covariance=None,
        near_sensor=np.zeros(setups, dtype=bool), power_share_m2=np.zeros(runs), rolling_share_m2=np.zeros(runs),
        own_variance=np.full(runs, 1e-14),
    )  # fmt: skip
    return Model(evidence, Drift(np.zeros(runs), 1.0), NOTHING_KNOWN).solve()


def against_the_reference(joint: Joint) -> list[np.ndarray]:
    """Weights of every other setup's difference to the reference."""
    setups = joint.model.setups
    return [joint.weights(setup=np.eye(setups)[k] - np.eye(setups)[0]) for k in range(1, setups)]

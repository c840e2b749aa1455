"""The budget's sources against the whole variance of what they make up, and against what the fit was given."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.core.budget import DRIFT, pieces
from analysis.core.drift import choose
from analysis.core.joint import Drift, Evidence, Model, rolling_share_m2
from analysis.core.types import Array

TIME_H = np.arange(8) * 0.15
SETUP = np.array([0, 1, 1, 0, 0, 1, 1, 0])
BEND = np.maximum(TIME_H - 0.35, 0.0)
DIFFERENCE = np.array([-1.0, 1.0])


def evidence(gain: Array) -> Evidence:
    """Eight runs ABBAABBA with a gain of their own each, closures of 1.2 %, rider's scatter 0.0025 m2."""
    rng = np.random.default_rng(11)
    own = 0.0006**2
    return Evidence(
        setup=SETUP, time_h=TIME_H, apparent_m2=(0.24 + rng.normal(0.0, 0.0025, 8)) * np.exp(-2 * gain),
        crr=np.array([0.0042]), crr_state=np.zeros(2, dtype=int),
        balance_covariance=np.diag([own] * 8 + [1e-8]) + 0.0004**2, log_gain=gain + rng.normal(0.0, 0.012, 8),
        gain_covariance=0.012**2 * np.eye(8), near_sensor=np.zeros(2, dtype=bool),
        power_share_m2=np.full(8, 0.3), rolling_share_m2=np.full(8, 50.0), own_variance=np.full(8, own),
    )  # fmt: skip


def by_tilt(blur_rad: float):
    """A sag of 4 % an hour that a tilt channel follows with the given error."""
    sag = Drift(np.radians(40.0) * BEND, 3.0, np.radians(blur_rad), 3, "tilt")
    return Model(evidence(-0.04 * BEND), sag, None).solve()


def by_time():
    return choose(evidence(-0.08 * BEND), None, None)


def test_the_sources_of_a_changed_position_are_its_whole_variance():
    """Three sizes of the departure are averaged; what they disagree about stands in the departure's line."""
    joint = choose(replace(evidence(np.where(SETUP == 1, 0.02, 0.0)), near_sensor=np.array([False, True])), None, None,
                   allowed=False)  # fmt: skip
    assert len(joint.over) == 3
    found = pieces(joint, joint.weights(setup=DIFFERENCE))
    assert sum(found.values()) == pytest.approx(joint.contrast(joint.weights(setup=DIFFERENCE))[1], rel=1e-9)
    assert found["air-speed gain by setup"] > 0.0


@pytest.mark.parametrize("solve", [lambda: by_tilt(0.0), lambda: by_tilt(0.4), by_time], ids=["tilt", "blur", "time"])
def test_the_sources_of_a_sagging_session_are_its_whole_variance(solve):
    """JCGM 100:2008, eq. 10. To 1e-9: the flat priors alone (1e3) are in no source."""
    joint = solve()
    assert joint.drift.by != "none"
    for weights in (joint.weights(setup=DIFFERENCE), joint.weights(setup=np.array([1.0, 0.0]))):
        assert sum(pieces(joint, weights).values()) == pytest.approx(joint.contrast(weights)[1], rel=1e-9)


def test_a_vague_tilt_is_told_as_drift():
    """The same sag, its path read to 0.4 degrees: what that adds stands in the drift's line."""
    sharp, vague = by_tilt(0.0), by_tilt(0.4)
    of = [pieces(j, j.weights(setup=DIFFERENCE))[DRIFT] for j in (sharp, vague)]
    blur = 2 * 0.24 * abs(vague.rate) * np.radians(0.4)  # of one run: 2 CdA times the gain that a tilt stands for
    assert of[1] - of[0] > 0.8 * blur**2 * (1 / 4 + 1 / 4)


def test_degrees_of_freedom_belong_to_the_blurred_model():
    """An error of the path's tilt is noise of each run: told as such beforehand, the same model has the same answer."""
    joint = by_tilt(0.4)
    blur = 2 * joint.model.level * joint.rate * joint.drift.shape_u
    told = evidence(-0.04 * BEND)
    noise = told.balance_covariance.copy()
    noise[np.arange(8), np.arange(8)] += (blur * np.exp(-2 * joint.gain0)) ** 2
    same = Model(replace(told, balance_covariance=noise), replace(joint.drift, shape_u=0.0), None).solve()
    assert joint.contrast(joint.weights(setup=DIFFERENCE)) == pytest.approx(
        same.contrast(same.weights(setup=DIFFERENCE)), rel=1e-6
    )


def test_rolling_is_worth_what_the_true_air_makes_it():
    """X by the true air is X as sensed over the squared gain: runs of a sagging sensor count each by its own."""
    gain = -0.08 * BEND
    model = Model(evidence(gain), Drift(BEND, 1.0, 0.0, 3, "tilt"), None)
    joint = model.solve()
    exact = replace(joint, theta=joint.theta.copy())
    exact.theta[joint.slices["gain"]] = -joint.gain0
    exact.theta[joint.slices["departure"]] = 0.0
    exact.theta[joint.slices["drift"]] = -0.08
    assert rolling_share_m2(exact) == pytest.approx(np.mean(50.0 * np.exp(2 * gain)), rel=1e-12)

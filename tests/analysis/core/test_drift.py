"""When the gain is allowed to drift, and since when."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.core.drift import BEND_SD, by_tilt, choose
from analysis.core.joint import Drift, Evidence, Model

TIME_H = np.arange(8) * 0.15
ERROR = np.full(8, np.radians(0.03))
ONE = np.zeros(8, dtype=int)


def tilts(shape, seed=0):
    return np.radians(shape) + np.random.default_rng(seed).normal(0.0, ERROR)


def test_a_still_mount_gives_no_drift():
    drifts = [by_tilt(TIME_H, tilts(np.full(8, 1.5), seed), ERROR, ONE) for seed in range(200)]
    assert sum(d is not None for d in drifts) <= 2  # one in a thousand by rule


@pytest.mark.parametrize("first", [2, 3, 5])
def test_a_sagging_mount_is_named_within_one_run(first):
    sag = np.maximum(np.arange(8) - first + 0.5, 0.0) * 0.2
    drift = by_tilt(TIME_H, tilts(sag), ERROR, ONE)
    assert drift is not None
    assert abs(drift.began - first) <= 1


def test_a_slip_is_found_where_it_happened():
    drift = by_tilt(TIME_H, tilts(np.where(np.arange(8) >= 5, 0.8, 0.0)), ERROR, ONE)
    assert drift is not None
    assert drift.began == 5
    assert drift.shape[-1] == pytest.approx(np.radians(0.8), abs=np.radians(0.1))


def test_a_position_that_holds_the_sensor_otherwise_is_no_sag():
    state = np.array([0, 1, 1, 0, 0, 1, 1, 0])
    assert by_tilt(TIME_H, tilts(np.where(state == 1, 1.4, 1.6)), ERROR, state) is None


def session(gain, drag) -> Evidence:
    """Apparent drag areas and closures of eight runs ABBAABBA, without a tilt channel."""
    rng = np.random.default_rng(11)
    closure = gain + rng.normal(0.0, 0.012, 8)
    apparent = (drag + rng.normal(0.0, 0.0012, 8)) * np.exp(-2 * gain)
    return Evidence(
        setup=np.array([0, 1, 1, 0, 0, 1, 1, 0]), time_h=TIME_H, apparent_m2=apparent, crr=np.array([0.0042]),
        crr_state=np.zeros(2, dtype=int), balance_covariance=np.diag([0.0006**2] * 8 + [1e-8]), log_gain=closure,
        gain_covariance=0.012**2 * np.eye(8), near_sensor=np.zeros(2, dtype=bool),
        power_share_m2=np.full(8, 0.3), rolling_share_m2=np.full(8, 50.0), own_variance=np.full(8, 0.0006**2),
    )  # fmt: skip


def test_without_tilt_a_sag_shows_in_closures_and_drag_together():
    sagging = choose(session(-0.05 * np.maximum(TIME_H - 0.35, 0.0), np.full(8, 0.24)), None, None)
    assert sagging.drift.by == "time"
    assert abs(sagging.drift.began - 3) <= 1


def test_a_rider_who_tires_is_not_called_a_sag():
    tired = choose(session(np.zeros(8), 0.24 + 0.003 * TIME_H), None, None)
    assert tired.drift.by == "none"


def test_not_knowing_when_the_mount_gave_way_widens_the_interval():
    """The mean over all onsets says less than the likeliest one alone would."""
    e = session(-0.05 * np.maximum(TIME_H - 0.35, 0.0), np.full(8, 0.24))
    mean = choose(e, None, None)
    alone = Model(e, Drift(np.maximum(TIME_H - 0.375, 0.0), BEND_SD, 0.0, 3, "time"), None).solve()
    weights = np.array([-1.0, 1.0])
    assert mean.contrast(mean.weights(setup=weights))[1] >= alone.contrast(alone.weights(setup=weights))[1]


def test_a_position_whose_departure_is_large_pays_with_a_wider_interval():
    """The size of departures is known to a factor of two: what closure shows beyond it counts for a wider prior."""

    setup = np.arange(8) % 2

    def told(apart):
        gain = setup * apart
        e = replace(session(gain, np.full(8, 0.24)), setup=setup, log_gain=gain, near_sensor=np.array([False, True]))
        joint = choose(replace(e, gain_covariance=0.006**2 * np.eye(8)), None, None, allowed=False)
        return joint.contrast(joint.weights(setup=np.array([-1.0, 1.0])))[1]

    assert told(0.02) > 1.1 * told(0.0)

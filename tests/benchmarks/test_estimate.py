"""From arrays to the result: beside a general library's least squares, and over the number of samples."""

from __future__ import annotations

import time
import tracemalloc

import numpy as np
import pytest
import statsmodels.api as sm

from analysis.core.session import estimate
from tests.benchmarks.conftest import Ratio
from tests.benchmarks.days import channel_bytes, eight_runs, laps, laps_at_ten_hertz, samples

pytestmark = pytest.mark.benchmark(timer=time.process_time)
OF_GLS, OF_PROPORTIONAL, OF_CHANNELS = 8.0, 1.2, 4.0
ROWS, UNKNOWNS = 480, 40  # a system as large as the session's own


def general_least_squares():
    """Least squares with a stated covariance, as a general library does it."""
    rng = np.random.default_rng(5)
    design, observed = rng.normal(size=(ROWS, UNKNOWNS)), rng.normal(size=ROWS)
    covariance = np.diag(rng.uniform(0.5, 2.0, ROWS))
    return lambda: sm.GLS(observed, design, sigma=covariance).fit()


def test_eight_runs_of_five_minutes(beside):
    session = eight_runs()
    beside(
        f"estimate, {samples(session)} samples at 1 Hz",
        lambda: estimate(session),
        general_least_squares(),
        against=f"statsmodels GLS, {ROWS} x {UNKNOWNS}",
        allowed=OF_GLS,
        rounds=25,
    )


@pytest.mark.parametrize("shorter", [0.3, 1.5])
def test_three_hours_beside_fewer(beside, shorter):
    much, little = laps_at_ten_hertz(3.0), laps_at_ten_hertz(shorter)
    beside(
        f"estimate, 3 h at 10 Hz over {shorter} h",
        lambda: estimate(much),
        lambda: estimate(little),
        against=f"{samples(much) / samples(little):.1f} x {shorter} h at 10 Hz",
        allowed=OF_PROPORTIONAL,
        rounds=5,
        times=samples(much) / samples(little),
    )


def test_ten_samples_a_second_beside_one(beside):
    much, little = laps_at_ten_hertz(3.0), laps(3.0)
    beside(
        "estimate, 3 h at 10 Hz over 1 Hz",
        lambda: estimate(much),
        lambda: estimate(little),
        against=f"{samples(much) / samples(little):.1f} x 3 h at 1 Hz",
        allowed=OF_PROPORTIONAL,
        rounds=5,
        times=samples(much) / samples(little),
    )


def test_peak_memory(benchmark, tell):
    session = laps_at_ten_hertz(3.0)
    size = channel_bytes(session)
    peaks: list[int] = []

    def traced() -> None:
        tracemalloc.start()
        estimate(session)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()

    benchmark.pedantic(traced, rounds=1, iterations=1)
    held = size + min(peaks)  # the channels themselves were there before
    tell(
        Ratio(
            "peak memory, 3 h at 10 Hz",
            f"{held / 2**20:.1f} MiB",
            f"the channels: {size / 2**20:.1f} MiB",
            held / size,
            OF_CHANNELS,
        )
    )

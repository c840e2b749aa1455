"""Files into channels, beside the same library that reads the same fields into floats and times and nothing else."""

from __future__ import annotations

import time

import pytest

from analysis.readers.recording import read_recording
from tests.load.readers_benchmark import csv_library, csv_text, fit_bytes, fit_library

ALLOWED = 1.3

pytestmark = pytest.mark.benchmark(timer=time.process_time)


def test_an_hour_of_csv(beside):
    data = csv_text(3600)
    beside(
        "decode CSV, 3600 samples",
        lambda: read_recording("an-hour.csv", data),
        lambda: csv_library(data),
        against="stdlib csv",
        allowed=ALLOWED,
    )


@pytest.fixture(scope="module")
def half_an_hour_of_fit() -> bytes:
    """Written by an encoder of its own (fit-tool)."""
    return fit_bytes(1800)


def test_half_an_hour_of_fit(beside, half_an_hour_of_fit):
    beside(
        "decode FIT, 1800 samples",
        lambda: read_recording("half-an-hour.fit", half_an_hour_of_fit),
        lambda: fit_library(half_an_hour_of_fit),
        against="fitdecode",
        allowed=ALLOWED,
        rounds=9,
    )

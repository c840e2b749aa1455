"""A short share of tests/load/pool_coverage.py: intervals hold the truth as often as they say."""

import pytest

from tests.load.pool_coverage import coverage


@pytest.mark.parametrize("shape", [{"riders": 12}, {"riders": 32, "sessions": 3, "own": 4}], ids=["few", "repeated"])
def test_intervals_hold_the_truth(shape):
    # 60 networks of four effects each, correlated: two standard errors are about 0.035
    assert coverage(60, 1, **shape) == pytest.approx((0.955, 0.955), abs=0.045)

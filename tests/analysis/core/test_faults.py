"""Faults put into simulated sessions; the shares over many: `python -m analysis yardstick --faults`."""

import pytest

from analysis.core.session import estimate
from analysis.core.yardstick.faults import try_fault


@pytest.mark.parametrize("name", ["air 3 s late", "power silent 15 s", "air sensor blocked"])
def test_a_plain_fault_is_caught_and_its_clean_twin_is_quiet(name):
    tried = try_fault(name, 1, 0, estimate)
    assert tried.caught
    assert not tried.false
    assert abs(tried.error_m2 - tried.twin_error_m2) < 0.001

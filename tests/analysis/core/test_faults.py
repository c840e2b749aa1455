"""Faults put into simulated sessions; the shares over many: `python -m analysis yardstick --faults`."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.core.session import estimate
from analysis.core.simulate import SCENARIOS, draw_world, simulate_session
from analysis.core.yardstick.faults import try_faults

TOLD = (
    "air 3 s late", "power silent 15 s", "air sensor blocked", "air sensor saturates", "wheel 1 % large",
    "run 3 the other way",
)  # fmt: skip
UNTOLD = (
    "air 0.6 s late", "power leaps", "air speed leaps", "wheel speed leaps", "barometer drifts",
    "satellites lost for a third", "0.5 Hz", "uneven steps",
)  # fmt: skip


@pytest.fixture(scope="module")
def tried(once):
    return once("faults", lambda: try_faults([*TOLD, *UNTOLD], 1, 0, estimate))


@pytest.mark.parametrize("name", TOLD)
def test_a_plain_fault_is_caught_and_its_clean_twin_is_quiet(tried, name):
    assert tried[name].caught
    assert not tried[name].false
    assert abs(tried[name].error_m2 - tried[name].twin_error_m2) < 0.001


@pytest.mark.parametrize("name", UNTOLD)
def test_what_needs_no_warning_hardly_moves_the_answer(tried, name):
    assert abs(tried[name].error_m2 - tried[name].twin_error_m2) < 0.001


def test_a_fast_recorder_is_not_called_late():
    world = replace(draw_world(SCENARIOS["wheels"], np.random.default_rng([5, 1])), rate_hz=10.0)
    session, _ = simulate_session(world, np.random.default_rng(7))
    assert "clock_offset" not in {warning.code for warning in estimate(session).warnings}

"""An out and back that is called a lap: half the drag area would come of it, so it is refused."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.core.course import _turns_round
from analysis.core.findings import Findings
from analysis.core.session import _prepared, estimate
from analysis.core.simulate import World, simulate_session


@pytest.mark.parametrize("times", [1, 2])
def test_an_out_and_back_called_a_lap_is_a_course_mismatch(times):
    session, _ = simulate_session(World(), np.random.default_rng(2))
    length = session.course.length_m * times
    result = estimate(replace(session, course=replace(session.course, kind="lap", length_m=length)))
    assert ("course_mismatch", "invalid") in {(w.code, w.level) for w in result.warnings}
    assert result.setups[0].cda_m2 is None


def test_no_run_of_a_true_lap_turns_round():
    session, _ = simulate_session(World(kind="lap", length_m=900.0, bend_radius_m=45.0), np.random.default_rng(2))
    runs = _prepared(session, Findings(session))
    assert not any(_turns_round(r) for r in runs)

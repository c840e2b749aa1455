"""Reports on what the estimator really stores: simulated days through the whole chain, printed number for number."""

import numpy as np
import pytest

from analysis.core.document import result_document
from analysis.core.session import estimate
from analysis.core.simulate.session import simulate_session
from analysis.core.simulate.world import World
from tests.reports import stored
from tests.reports.conftest import unfounded

WORLDS = {
    "two setups": World(),
    "three setups": World(order="ABCCBAABCCBA", delta_cda_m2=(-0.012, 0.001)),
    "other tyres": World(order="ABBA", factor="items.tyres", delta_crr_by_setup=(0.0, -0.0006)),
    "one run each": World(order="AB"),
}


@pytest.fixture(scope="module")
def day():
    """A day by its name, as it is stored after the estimate."""

    def estimated(name):
        session, _ = simulate_session(WORLDS[name], np.random.default_rng(5))
        return stored.facts(result_document(estimate(session)))

    return estimated


@pytest.mark.parametrize("name", WORLDS)
def test_an_estimated_day_prints_only_stored_numbers(name, day, read):
    facts = day(name)
    text = read(facts)
    assert unfounded(facts, text) == []
    assert "page 1 of" in text


def test_the_smallest_difference_and_the_coverage_are_in_the_stored_result(day, read):
    text = read(day("two setups"))
    assert "within ±0.0020 m²" in text
    assert "coverage factor k = " in text
    assert "not known" not in text

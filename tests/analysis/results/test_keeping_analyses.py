"""The same inputs under the same engine are the same analysis; another one names what it supersedes."""

import pytest

from analysis.results.models import Analysis
from analysis.results.selectors import newest_analysis
from analysis.results.services.analyses import analysis_store
from studio.records.models import Event
from tests.factories import FieldSessionFactory

RESULT = {"schema": "session-result/1"}


@pytest.fixture
def session(studio):
    return FieldSessionFactory(studio=studio)


def store(session, inputs="a" * 64, engine="1.0"):
    return analysis_store(session=session, inputs_sha256=inputs, engine_version=engine, result=RESULT)


def test_the_first_analysis_supersedes_nothing_and_is_noted(session):
    analysis = store(session)
    assert (analysis.number, analysis.supersedes, analysis.result) == (1, None, RESULT)
    assert Event.objects.get(record_id=analysis.pk).verb == "analysed"


def test_the_same_again_is_the_same_row(session):
    assert store(session) == store(session)
    assert Analysis.objects.count() == 1


@pytest.mark.parametrize("change", [{"inputs": "b" * 64}, {"engine": "1.1"}])
def test_other_inputs_or_another_engine_supersede(session, change):
    first = store(session)
    second = store(session, **change)
    assert (second.number, second.supersedes) == (2, first)
    assert newest_analysis(session) == second


def test_going_back_to_earlier_inputs_is_a_new_analysis(session):
    first = store(session)
    store(session, inputs="b" * 64)
    assert store(session) != first

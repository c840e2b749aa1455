"""Runs: next number, the session's setups, cuts inside their recording."""

from datetime import timedelta

import pytest

from studio.records.errors import Conflict, Unusable
from studio.records.models import RecordingState, Run
from studio.records.services.runs import run_create, run_update
from tests.factories import NOON, FieldSessionFactory, RecordingFactory, RunFactory, SetupFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def session(studio):
    return FieldSessionFactory(rider__studio=studio)


@pytest.fixture
def setup(session):
    return SetupFactory(bike=session.bike, label="A")


@pytest.fixture
def recording(session):
    read = {"state": RecordingState.READ, "laps": 3, "started_at": NOON, "ended_at": NOON + timedelta(hours=1)}
    return RecordingFactory(session=session, **read)


def logged(session, setup, **fields):
    return run_create(studio=session.studio, by=None, session=session, setup=setup, **fields)


def test_runs_get_the_next_number(session, setup):
    assert [logged(session, setup).number, logged(session, setup, number=7).number] == [1, 7]
    assert logged(session, setup).number == 8


def test_another_cut_forgets_what_was_ridden_and_another_note_does_not(session, setup, recording):
    run = RunFactory(session=session, setup=setup, recording=recording, ridden_m=3000.0, ridden_s=290.0)
    run = run_update(record=run, by=None, version=run.version, changes={"note": "a gust"})
    assert Run.objects.get(pk=run.pk).ridden_m == 3000.0
    run_update(record=run, by=None, version=run.version, changes={"lap": 2})
    assert Run.objects.values_list("ridden_m", "ridden_s").get(pk=run.pk) == (None, None)


def test_number_is_used_once(session, setup):
    logged(session, setup)
    with pytest.raises(Conflict, match="A run's number is used once in a session"):
        logged(session, setup, number=1)


def test_setup_joins_the_session_once(session, setup):
    logged(session, setup)
    logged(session, setup)
    other = SetupFactory(bike=session.bike, label="B")
    logged(session, other)
    assert [(link.setup, link.order) for link in session.setup_links.all()] == [(setup, 0), (other, 1)]


def test_setup_is_of_the_sessions_bike(session):
    with pytest.raises(Unusable, match="setup is setup X of another bike"):
        logged(session, SetupFactory(bike__rider=session.rider, label="X"))
    assert not Run.objects.exists()


def test_label_means_one_setup_in_a_session(session, setup):
    logged(session, setup)
    with pytest.raises(Unusable, match="setup is a second setup A"):
        logged(session, SetupFactory(bike=session.bike, label="A"))


def test_recording_is_of_the_same_session(session, setup):
    with pytest.raises(Unusable, match="a recording of the same session"):
        logged(session, setup, recording=RecordingFactory(session__rider=session.rider))


def test_recording_that_could_not_be_read_serves_no_run(session, setup):
    broken = RecordingFactory(session=session, state=RecordingState.REFUSED)
    with pytest.raises(Unusable, match="which could not be read"):
        logged(session, setup, recording=broken)


@pytest.mark.parametrize(
    ("cut", "key"),
    [
        ({"lap": 4}, "lap is 4, allowed: a lap of .*, which has 3"),
        ({"started_at": NOON + timedelta(hours=2)}, "from is .*T14:00:00Z, outside"),
        ({"ended_at": NOON}, "to is .*Z, outside"),
    ],
    ids=["lap", "late", "early"],
)
def test_run_is_inside_its_recording(session, setup, recording, cut, key):
    with pytest.raises(Unusable, match=key):
        logged(session, setup, recording=recording, **cut)


@pytest.mark.parametrize("cut", [{"lap": 3}, {"started_at": NOON, "ended_at": NOON + timedelta(minutes=5)}, {}])
def test_recording_serves_runs_by_cut(session, setup, recording, cut):
    assert logged(session, setup, recording=recording, **cut).recording == recording


def test_recording_not_read_yet_is_trusted(session, setup):
    assert logged(session, setup, recording=RecordingFactory(session=session), lap=9).lap == 9


def test_run_is_left_out_and_taken_back():
    run = RunFactory()
    run_update(record=run, by=None, version=1, changes={"left_out": "stopped at a gate"})
    assert Run.objects.get().left_out == "stopped at a gate"
    run_update(record=run, by=None, version=2, changes={"left_out": ""})
    assert Run.objects.get().left_out == ""


def test_run_logged_under_the_wrong_setup_is_corrected(session, setup):
    run = logged(session, setup)
    other = SetupFactory(bike=session.bike, label="B")
    run_update(record=run, by=None, version=1, changes={"setup": other})
    assert Run.objects.get().setup == other
    assert session.setup_links.filter(setup=other).exists()

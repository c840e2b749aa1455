"""Test days: whose bike, which setups, which reference, what weather."""

from datetime import date

import pytest

from studio.records.errors import Conflict, Unusable
from studio.records.services.sessions import session_create, session_delete, session_update
from tests.factories import (
    BikeFactory,
    CourseFactory,
    FieldSessionFactory,
    InstrumentFactory,
    RecordingFactory,
    RunFactory,
    SetupFactory,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def bike(studio):
    return BikeFactory(rider__studio=studio)


def opened(bike, **fields):
    facts = {"rider": bike.rider, "course": CourseFactory(studio=bike.studio), "timezone": "Atlantic/Azores"}
    return session_create(studio=bike.studio, by=None, bike=bike, date=date(2026, 5, 9), **(facts | fields))


def links(session):
    return [(link.setup.label, link.reference) for link in session.setup_links.all()]


def test_setups_stand_in_their_order(bike):
    a, b = SetupFactory(bike=bike, label="A"), SetupFactory(bike=bike, label="B")
    session = opened(bike, setups=[b, a], reference=a)
    assert links(session) == [("B", False), ("A", True)]


def test_the_reference_stays_when_setups_change(bike):
    a, b = SetupFactory(bike=bike, label="A"), SetupFactory(bike=bike, label="B")
    session = opened(bike, setups=[a], reference=a)
    session_update(record=session, by=None, version=1, changes={"setups": [b, a]})
    assert links(session) == [("B", False), ("A", True)]


def test_the_reference_is_one_of_the_setups(bike):
    a, b = SetupFactory(bike=bike, label="A"), SetupFactory(bike=bike, label="B")
    with pytest.raises(Unusable, match="reference is setup B, allowed: one of the session's setups"):
        opened(bike, setups=[a], reference=b)


def test_labels_differ_within_a_session(bike):
    twice = [SetupFactory(bike=bike, label="A"), SetupFactory(bike=bike, label="A")]
    with pytest.raises(Unusable, match="setups is a second setup A"):
        opened(bike, setups=twice)


def test_setups_are_of_the_sessions_bike(bike):
    with pytest.raises(Unusable, match="allowed: a setup of the session's bike"):
        opened(bike, setups=[SetupFactory(bike__rider=bike.rider, label="A")])


def test_ridden_setup_stays_in_its_session(bike):
    a, b = SetupFactory(bike=bike, label="A"), SetupFactory(bike=bike, label="B")
    session = opened(bike, setups=[a, b])
    RunFactory(session=session, setup=b)
    with pytest.raises(Unusable, match="every setup that a run used"):
        session_update(record=session, by=None, version=1, changes={"setups": [a]})
    assert links(session) == [("A", False), ("B", False)]


def test_bike_is_the_riders(bike):
    with pytest.raises(Unusable, match="allowed: a bike of the session's rider"):
        opened(bike, rider=BikeFactory(rider__studio=bike.studio).rider)


def test_bike_stays_while_its_setups_are_tested(bike):
    session = opened(bike, setups=[SetupFactory(bike=bike, label="A")])
    other = BikeFactory(rider=bike.rider)
    with pytest.raises(Unusable, match="bike is setup A of another bike"):
        session_update(record=session, by=None, version=1, changes={"bike": other})


def test_zone_is_known(bike):
    with pytest.raises(Unusable, match="an IANA time zone"):
        opened(bike, timezone="Mars/Base")


@pytest.mark.parametrize(
    ("reading", "key"),
    [
        ({"time": "noon"}, r"weather\[0\].time"),
        ({"time": "2026-05-09T08:00:00"}, r"weather\[0\].time"),
        ({"temperature_c": 18}, r"weather\[0\].time"),
        ({"time": "2026-05-09T08:00:00Z", "temperature_c": "warm"}, r"weather\[0\].temperature_c"),
    ],
)
def test_weather_is_as_in_a_bundle(bike, reading, key):
    with pytest.raises(Unusable, match=key):
        opened(bike, weather=[reading])


def test_instruments_are_the_studios(bike):
    own = InstrumentFactory(studio=bike.studio)
    session = opened(bike, instruments=[own])
    assert list(session.instruments.all()) == [own]
    with pytest.raises(Unusable, match="an instrument of this studio"):
        session_update(record=session, by=None, version=1, changes={"instruments": [InstrumentFactory()]})


@pytest.mark.parametrize("factory", [RunFactory, RecordingFactory])
def test_session_with_runs_or_files_is_not_deleted(factory):
    session = factory().session
    with pytest.raises(Conflict, match="none may be lost"):
        session_delete(record=session, by=None, version=1)


def test_empty_session_is_deleted():
    session = FieldSessionFactory()
    session_delete(record=session, by=None, version=1)
    assert not type(session).objects.exists()

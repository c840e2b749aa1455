"""The note `calibration_due`: found in the records, kept in the result, and part of what the analysis rests on."""

from datetime import date, timedelta

import pytest

from analysis.jobs.instruments_due import calibrations_due
from tests.factories import CalibrationFactory, FieldSessionFactory, InstrumentFactory

DAY = date(2026, 5, 9)


@pytest.fixture
def session(db):
    return FieldSessionFactory(date=DAY)


@pytest.fixture
def meter(session):
    meter = InstrumentFactory(studio=session.studio, kind="power_meter", name="Crank meter", serial="7")
    session.instruments.add(meter)
    return meter


def checked(meter, done, due):
    due_on = None if due is None else DAY + timedelta(days=due)
    return CalibrationFactory(instrument=meter, done_on=DAY + timedelta(days=done), due_on=due_on)


@pytest.mark.parametrize(("due", "notes"), [(None, 0), (1, 0), (0, 1), (-1, 1)])
def test_a_check_due_by_the_day_of_the_session_is_noted(due, notes, session, meter):
    checked(meter, -100, due)
    assert len(calibrations_due(session)) == notes


def test_the_note_says_what_was_found_and_what_to_do(session, meter):
    checked(meter, -100, -9)
    (note,) = calibrations_due(session)
    assert (note.code, note.level, note.where) == ("calibration_due", "note", "session")
    assert note.what == (
        "The power meter Crank meter 7 was last checked on 2026-01-29; "
        "the next check was due on 2026-04-30, by the day of the session."
    )
    assert note.do.startswith("Check it, and enter the check")


def test_a_newer_check_up_to_the_day_counts_and_a_later_one_does_not(session, meter):
    checked(meter, -100, -9)
    checked(meter, 1, 200)
    assert len(calibrations_due(session)) == 1
    checked(meter, 0, 200)
    assert calibrations_due(session) == ()


def test_an_instrument_that_the_session_does_not_name_is_nothing_to_it(session):
    checked(InstrumentFactory(studio=session.studio), -100, -9)
    assert calibrations_due(session) == ()


def test_it_takes_one_query_for_one_instrument_and_for_many(session, meter, django_assert_num_queries):
    for _ in range(5):
        other = InstrumentFactory(studio=session.studio)
        session.instruments.add(other)
        checked(other, -9, -1)
    with django_assert_num_queries(1):
        assert len(calibrations_due(session)) == 5

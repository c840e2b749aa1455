"""The fingerprint of what went into an analysis: the records of a session and the bytes of its recordings."""

from datetime import timedelta

import pytest

from analysis.jobs.analysing import estimated
from analysis.jobs.importing import import_bundle
from analysis.jobs.inputs import inputs_sha256, session_inputs
from analysis.results.models import Analysis
from studio.records.models import FieldSession, Recording, Rider
from tests.factories import CalibrationFactory, InstrumentFactory


@pytest.fixture
def session(upload, small_day):
    return FieldSession.objects.get(pk=import_bundle(upload(*small_day))["session"])


def test_a_number_is_one_number_however_it_was_written(session):
    before = inputs_sha256(session)
    session.rider.height_cm = 178
    whole = inputs_sha256(session)
    session.rider.height_cm = 178.0
    assert before == whole == inputs_sha256(session)


def test_another_number_is_another_fingerprint(session):
    before = inputs_sha256(session)
    Rider.objects.update(height_cm=179)
    assert inputs_sha256(FieldSession.objects.get()) != before


def test_another_file_is_another_fingerprint(session):
    before = inputs_sha256(session)
    Recording.objects.filter(filename="run-01.csv").update(sha256="b" * 64)
    assert inputs_sha256(session) != before


@pytest.fixture
def meter(session):
    meter = InstrumentFactory(studio=session.studio)
    session.instruments.add(meter)
    return meter


def test_a_check_that_was_due_is_another_fingerprint_and_one_that_was_not_is_none(session, meter):
    before = inputs_sha256(session)
    day = session.date
    CalibrationFactory(instrument=meter, done_on=day - timedelta(9), due_on=day + timedelta(1))
    assert inputs_sha256(session) == before
    CalibrationFactory(instrument=meter, done_on=day - timedelta(8), due_on=day)
    assert inputs_sha256(session) != before


def test_the_note_of_a_due_check_is_in_the_result_and_without_instruments_there_is_none(session, meter):
    first = Analysis.objects.get()
    assert "calibration_due" not in {warning["code"] for warning in first.result["warnings"]}
    day = session.date
    CalibrationFactory(instrument=meter, done_on=day - timedelta(9), due_on=day)
    codes = [(w["code"], w["level"], w["where"]) for w in estimated(session_inputs(session))["warnings"]]
    assert codes.count(("calibration_due", "note", "session")) == 1

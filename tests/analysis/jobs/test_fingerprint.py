"""The fingerprint of what went into an analysis: the records of a session and the bytes of its recordings."""

import pytest

from analysis.jobs.importing import import_bundle
from analysis.jobs.inputs import inputs_sha256
from studio.records.models import FieldSession, Recording, Rider


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

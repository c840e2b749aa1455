"""What a studio said of a device's fields is used on its next file, and a recording can be read again by it."""

import pytest

from analysis.jobs.analysing import analyse_session
from analysis.jobs.importing import import_bundle
from analysis.jobs.inputs import inputs_sha256
from analysis.jobs.previewing import found_in
from analysis.jobs.reading import read_recording, recording_of
from analysis.readers.faults import Refused
from analysis.readers.mapping_document import device_key
from analysis.results.models import Analysis
from studio.records.models import FieldSession, Recording, RecordingState
from studio.records.services.recordings import recording_store
from studio.records.store import file_path
from tests.factories import DeviceMappingFactory, FieldSessionFactory, StudioFactory

FOREIGN = b"Zeit;Leistung\n0;250\n1;251\n"
KEY = device_key({"columns": ["Zeit", "Leistung"]})
RULES = {"Zeit": "time", "Leistung": "power_w"}


@pytest.fixture
def foreign(studio, fitter_bo):
    session = FieldSessionFactory(studio=studio)
    return recording_store(session=session, filename="day.csv", chunks=[FOREIGN], by=fitter_bo)


def read(claim, recording, **more):
    read_recording(claim("read_recording", recording=str(recording.pk), **more))
    recording.refresh_from_db()
    return recording


def test_the_next_file_of_a_device_is_read_by_its_mapping(foreign, studio, claim):
    DeviceMappingFactory(studio=studio, device_key=KEY, rules=RULES)
    recording = read(claim, foreign)
    assert (recording.state, recording.mapping, recording.channels) == (RecordingState.READ, RULES, ["power_w"])


def test_another_studios_mapping_is_never_used(foreign, claim):
    DeviceMappingFactory(studio=StudioFactory(), device_key=KEY, rules=RULES)
    with pytest.raises(Refused, match="a column 'time'"):
        read(claim, foreign)


def test_a_refused_file_names_its_fields_and_is_read_once_they_are_mapped(foreign, studio, claim):
    with pytest.raises(Refused, match="a column 'time'"):
        read(claim, foreign)
    foreign.refresh_from_db()
    said = found_in(foreign)
    assert (said["state"], said["found"], said["device_key"]) == ("refused", None, KEY)
    assert [field["field"] for field in said["fields"]] == ["Zeit", "Leistung"]
    DeviceMappingFactory(studio=studio, device_key=KEY, rules=RULES)
    assert read(claim, foreign).state == RecordingState.READ


def test_a_reading_is_changed_only_when_it_is_asked_for_again(foreign, studio, claim):
    mapping = DeviceMappingFactory(studio=studio, device_key=KEY, rules=RULES)
    before = file_path(studio_id=studio.pk, sha256=read(claim, foreign).channels_sha256)
    mapping.rules = {**RULES, "Leistung": "power_w*2.0"}
    mapping.save()
    assert read(claim, foreign).mapping == RULES
    assert read(claim, foreign, again=True).mapping == mapping.rules
    assert recording_of(foreign).columns["power_w"].tolist() == [500, 502]
    assert not before.exists()  # what nobody names any more


def test_a_row_fetched_before_it_was_read_anew_still_gives_its_channels(foreign, studio, claim):
    mapping = DeviceMappingFactory(studio=studio, device_key=KEY, rules=RULES)
    fetched = Recording.objects.get(pk=read(claim, foreign).pk)
    mapping.rules = {**RULES, "Leistung": "power_w*2.0"}
    mapping.save()
    read(claim, foreign, again=True)
    assert recording_of(fetched).columns["power_w"].tolist() == [500, 502]


def test_what_was_read_stays_when_reading_again_is_refused(foreign, studio, claim):
    mapping = DeviceMappingFactory(studio=studio, device_key=KEY, rules=RULES)
    read(claim, foreign)
    mapping.delete()
    with pytest.raises(Refused, match="a column 'time'"):
        read(claim, foreign, again=True)
    foreign.refresh_from_db()
    assert (foreign.state, foreign.mapping) == (RecordingState.READ, RULES)


@pytest.fixture
def halved(upload, small_day, studio, claim):
    """A day that was imported, and whose first recording was then read at half its power."""
    import_bundle(upload(*small_day))
    recording = Recording.objects.order_by("filename").first()
    key = device_key(recording.device)
    DeviceMappingFactory(studio=studio, device_key=key, rules={"power_w": "power_w*0.5"})
    return read(claim, recording, again=True)


def test_another_reading_is_another_analysis(halved, claim):
    session = FieldSession.objects.get()
    analyse_session(claim("analyse_session", session=str(session.pk)))
    older, newer = Analysis.objects.order_by("number")
    assert newer.inputs_sha256 == inputs_sha256(session) != older.inputs_sha256
    assert newer.result["runs"][0]["cda_m2"] < older.result["runs"][0]["cda_m2"]


def test_the_bundle_again_is_the_session_as_it_is_read_now(halved, upload, small_day):
    import_bundle(upload(*small_day))
    assert FieldSession.objects.count() == 1
    assert Analysis.objects.first().inputs_sha256 == inputs_sha256(FieldSession.objects.get())


def test_an_analysis_reads_what_nobody_has_read_yet(upload, small_day, claim):
    import_bundle(upload(*small_day))
    Recording.objects.update(state=RecordingState.STORED, mapping={}, channels_sha256="")
    analyse_session(claim("analyse_session", session=str(FieldSession.objects.get().pk)))
    assert set(Recording.objects.values_list("state", flat=True)) == {RecordingState.READ}
    assert Analysis.objects.count() == 1  # the same reading, the same analysis

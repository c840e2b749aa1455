"""The list of devices whose fields are remembered: seen, changed at a recording, forgotten."""

import pytest

from analysis.readers.mapping_document import device_key
from studio.records.models import DeviceMapping
from tests.factories import DeviceMappingFactory, RecordingFactory
from tests.studio.web.markup import Page


@pytest.fixture
def mapping(bare_day):
    recording = RecordingFactory(session=bare_day, filename="day.csv", device={"columns": ["time", "mood"]})
    key = device_key(recording.device)
    facts = {"device_key": key, "name": "head unit", "rules": {"mood": "power_w"}}
    return DeviceMappingFactory(studio=bare_day.studio, **facts)


def test_a_device_says_its_rules_and_where_they_are_changed(mapping, bare_day, fitter_bo, page):
    seen = page(fitter_bo, "/devices/")
    assert "head unit" in seen.text
    assert "mood" in seen.text
    assert f"/recordings/{bare_day.recordings.get(filename='day.csv').pk}/fields/" in seen.links()


def test_a_device_without_a_recording_says_so(studio, fitter_bo, page):
    DeviceMappingFactory(studio=studio)
    assert "open a recording of this device" in page(fitter_bo, "/devices/").text


def test_no_device_teaches_how_one_is_remembered(db, fitter_bo, page):
    assert "No device is remembered" in page(fitter_bo, "/devices/").text


@pytest.mark.parametrize(("version", "words", "left"), [(1, "are forgotten", 0), (7, "Not forgotten", 1)])
def test_a_device_is_forgotten_unless_somebody_changed_it(version, words, left, mapping, browser, fitter_bo):
    answer = browser(fitter_bo).post(f"/devices/{mapping.pk}/forget/", {"version": version}, follow=True)
    assert words in Page(answer.content.decode()).text
    assert DeviceMapping.objects.count() == left


@pytest.mark.parametrize("count", [2, 20])
def test_the_list_costs_the_same_queries_for_few_and_many(count, studio, fitter_bo, browser, django_assert_num_queries):
    DeviceMappingFactory.create_batch(count, studio=studio)
    client = browser(fitter_bo)
    with django_assert_num_queries(5):
        client.get("/devices/")

"""Mappings: one for a device in a studio, checked by the readers' own rules."""

import pytest

from analysis.readers.faults import Refused
from studio.records.errors import Conflict, Unusable
from studio.records.models import Event
from studio.records.selectors.mappings import RememberedRules
from studio.records.services.mappings import mapping_create, mapping_delete, mapping_update
from tests.factories import DeviceMappingFactory, StudioFactory

pytestmark = pytest.mark.django_db
KEY = "device-" + "0f" * 12
SPEED = {"field": "Speed", "channel": "speed_mps", "unit": "km/h"}


def made(studio, *fields, key=KEY):
    return mapping_create(studio=studio, by=None, device_key=key, fields=fields)


def test_what_is_said_is_kept_as_the_readers_take_it(studio):
    mapping = made(studio, SPEED, {"field": "mood", "channel": None})
    assert mapping.rules == {"Speed": f"speed_mps*{1 / 3.6!r}", "mood": ""}
    assert Event.objects.get().verb == "made"


def test_a_device_has_one_mapping(studio):
    made(studio, SPEED)
    with pytest.raises(Conflict, match="A device has one mapping in a studio; change that one"):
        made(studio, SPEED)
    assert made(StudioFactory(), SPEED)


def test_every_fault_of_the_fields_is_told(studio):
    with pytest.raises(Refused, match="fields\\[0\\].channel") as refusal:
        made(studio, {"field": "x", "channel": "mood"}, {"field": "y", "channel": "power_w", "unit": "hp"})
    assert len(refusal.value.faults) == 2


@pytest.mark.parametrize("key", ["device-1", "Device-" + "0f" * 12, "device-" + "0f" * 13])
def test_a_key_that_no_preview_gave_is_refused(studio, key):
    with pytest.raises(Unusable, match="that a recording's preview gives"):
        made(studio, key=key)


def test_it_changes_and_goes(studio):
    mapping = made(studio, SPEED)
    mapping = mapping_update(record=mapping, by=None, version=1, changes={"fields": [], "name": "Hall logger"})
    assert (mapping.rules, mapping.name, mapping.version) == ({}, "Hall logger", 2)
    mapping_delete(record=mapping, by=None, version=2)
    assert [event.verb for event in Event.objects.order_by("number")] == ["made", "changed", "deleted"]


def test_one_reading_is_by_one_set_of_rules_in_one_query(studio, django_assert_num_queries):
    mapping = DeviceMappingFactory(studio=studio)
    DeviceMappingFactory(device_key=mapping.device_key, rules={"x": "power_w"})
    remembered = RememberedRules(studio.pk)
    with django_assert_num_queries(1):
        assert remembered(mapping.device_key) == remembered(mapping.device_key) == mapping.rules
    assert remembered("device-of-nobody") == {}

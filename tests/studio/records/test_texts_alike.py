"""What the command line takes the import takes: no text is sound for the one and too long for the other."""

import json
from copy import deepcopy

import pytest

from analysis.readers.document import parse_document
from analysis.readers.faults import Refused
from analysis.readers.ranges import LETTERS, SLOT_LETTERS
from studio.records import bundle_keys
from studio.records.models import Bike, Course, FieldSession, Product, Rider, Run, Setup, SetupItem
from tests.analysis.readers.bundles import document

PLACES = [
    ("rider", bundle_keys.RIDER, Rider),
    ("bike", bundle_keys.BIKE, Bike),
    ("course", bundle_keys.COURSE, Course),
    *((place, keys, FieldSession) for place, keys in bundle_keys.SESSION.items()),
    ("setups[]", bundle_keys.SETUP, Setup),
    ("runs[]", bundle_keys.RUN, Run),
]


def longest(model, name):
    return getattr(model._meta.get_field(name), "max_length", None)


def test_the_readers_know_how_long_every_text_of_a_record_may_be():
    held = {f"{place}.{key}": longest(model, name) for place, keys, model in PLACES for key, name in keys.items()}
    held["setups[].items.*"] = longest(Product, "name")
    del held["course.kind"]  # one of three
    assert {key: most for key, most in held.items() if most} == LETTERS
    assert {longest(SetupItem, "slot"), longest(Product, "category")} == {SLOT_LETTERS}


def told(change):
    said = deepcopy(document())
    change(said)
    with pytest.raises(Refused, match="at most|called") as refusal:
        parse_document("session.json", json.dumps(said).encode())
    return {fault.key for fault in refusal.value.faults}


def test_long_texts_are_refused_before_any_record_is_made():
    def lengthen(said):
        said["rider"]["code"] = "R" * 61
        said["session"]["title"] = "t" * 301
        said["setups"][0]["items"] = {"helmet": "h" * 201, "s" * 61: "x"}

    assert told(lengthen) == {"rider.code", "session.title", "setups[0].items.helmet", "setups[0].items"}


def test_a_bike_has_a_name():
    assert told(lambda said: said["bike"].update(name=" ")) == {"bike.name"}

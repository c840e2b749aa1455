"""The mapping that a studio edits: what is checked, said in sentences, and remembered for which device."""

import pytest

from analysis.readers.faults import Refused
from analysis.readers.mapping import suggested_channel
from analysis.readers.mapping_document import described, device_key, mapping_document, parse_mapping_document
from analysis.readers.recording import read_recording
from tests.analysis.readers.bundles import START, csv_bytes
from tests.analysis.readers.fit_files import fit_file

FIELDS = [
    {"field": "Speed", "channel": "speed_mps", "unit": "km/h"},
    {"field": "sensor 1", "channel": "airspeed_mps", "scale": 0.1, "offset": 2},
    {"field": "Heat", "channel": "temperature_c", "unit": "F"},
    {"field": "power", "channel": None},
    {"field": "watts2", "channel": "power_w"},
]


def doc(*fields):
    return {"schema": "field-mapping/1", "fields": list(fields)}


def test_a_document_reads_a_file():
    rules = parse_mapping_document(doc(*FIELDS))
    data = b"time,Speed,sensor 1,Heat,power,watts2\n0,36,100,68,9999,250\n"
    columns = read_recording("run.csv", data, mapping=rules).columns
    read = {name: float(values[0]) for name, values in columns.items()}
    assert read == pytest.approx({"speed_mps": 10, "airspeed_mps": 12, "temperature_c": 20, "power_w": 250})


def test_a_document_written_and_read_again_is_the_same():
    rules = parse_mapping_document(doc(*FIELDS))
    assert parse_mapping_document(mapping_document(rules)) == rules
    assert mapping_document(rules)["fields"][0] == {"field": "Speed", "channel": "speed_mps", "unit": "km/h"}


def test_small_factors_survive():
    rules = parse_mapping_document(doc({"field": "x", "channel": "power_w", "scale": 1e-7, "offset": -2.5e-9}))
    assert mapping_document(rules)["fields"] == [{"field": "x", "channel": "power_w", "scale": 1e-7, "offset": -2.5e-9}]


def test_each_rule_is_said_in_a_sentence():
    assert described(parse_mapping_document(doc(*FIELDS)))[:4] == [
        "'Speed' is read as speed_mps from km/h.",
        "'sensor 1' is read as airspeed_mps: value times 0.1 plus 2.",
        "'Heat' is read as temperature_c from f.",
        "'power' is left unread.",
    ]


@pytest.mark.parametrize(
    ("document", "sentence"),
    [
        ([], "mapping, schema: found list; allowed: an object with 'schema': 'field-mapping/1'"),
        ({"schema": "x"}, "schema: found 'x'"),
        ({"schema": "field-mapping/1"}, "fields: found NoneType; allowed: a list of at most 500 fields"),
        (doc() | {"more": 1}, "'more': found an unknown key"),
        (doc(1), r"fields\[0\]: found int"),
        (doc({"field": " ", "channel": None}), r"fields\[0\].field: found ' '; allowed: a name of 1 to 200 letters"),
        (doc({"field": "a"}), r"fields\[0\].channel: found nothing; allowed: null, or one of latitude_deg"),
        (doc({"field": "a", "channel": "velocity"}), r"channel: found 'velocity'"),
        (doc({"field": "a", "channel": "power_w", "unit": "hp"}), r"unit: found 'hp'; allowed: w, watts, watt, kw"),
        (doc({"field": "a", "channel": "power_w", "unit": "W", "scale": 2}), "a unit and a scale or offset"),
        (doc({"field": "a", "channel": "power_w", "scale": 0}), r"scale: found 0; allowed: a number that keeps"),
        (doc({"field": "a", "channel": "power_w", "offset": float("nan")}), r"offset: found NaN; allowed: a number"),
        (doc({"field": "a", "channel": "power_w", "scale": 10**400}), r"scale: found 1000"),
        (doc({"field": "a", "channel": "power_w", "scale": True}), r"scale: found true"),
        (doc({"field": "a", "channel": None, "scale": 2}), "allowed: nothing: it is left unread"),
        (doc({"field": "a", "channel": None, "colour": 2}), r"fields\[0\].colour: found an unknown key"),
        (doc({"field": "a", "channel": None}, {"field": "A ", "channel": None}), "'a': found named 2 times"),
        (doc({"field": "a", "channel": "lap"}, {"field": "b", "channel": "lap"}), "'lap': found filled from 2 fields"),
    ],
)
def test_faults_are_sentences(document, sentence):
    with pytest.raises(Refused, match=sentence):
        parse_mapping_document(document)


def test_a_device_is_known_by_its_facts_and_not_by_its_software():
    facts = {"manufacturer": "development", "product": 3, "serial_number": 4711}
    key = device_key({"file": [{**facts, "software_version": 1}], "columns": ["a"]})
    assert key == device_key({"file": [{**facts, "software_version": 2}], "columns": ["b"]})
    assert key != device_key({"file": [{**facts, "serial_number": 4712}]})


def test_a_text_is_known_by_its_header_whatever_is_mapped():
    keys = {
        device_key(read_recording("a", csv_bytes(count), mapping=own).device)
        for count in (3, 9)
        for own in ({}, {"yaw_deg": ""})
    }
    assert len(keys) == 1
    assert keys.isdisjoint({device_key(read_recording("a", b"time,power_w\n0,1\n").device)})


def test_a_fit_device_is_the_same_in_another_file():
    first, second = (read_recording("a", fit_file(START, [sample] * 3)) for sample in ({"power": 1}, {"speed": 1.0}))
    assert device_key(first.device) == device_key(second.device)


@pytest.mark.parametrize(
    ("field", "channel"),
    [
        ("Speed", "speed_mps"),
        ("Speed (knots)", "speed_mps"),
        ("developer0.Air_Speed", "airspeed_mps"),
        ("airspeeed", "airspeed_mps"),
        ("front power meter", "power_w"),
        ("mood", None),
        ("", None),
    ],
)
def test_the_nearest_channel_is_suggested(field, channel):
    assert suggested_channel(field) == channel

"""`session.json`: its shape against the published schema by an independent validator, its sense, its canonical form."""

import copy
import json

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.readers.bundle import normalised
from analysis.readers.document import parse_document, unknown_keys
from analysis.readers.faults import Refused
from analysis.readers.schema import BUNDLE, shape_faults
from tests.analysis.readers.bundles import document

KNOWN_KEYWORDS = {
    "$schema", "title", "type", "properties", "required", "additionalProperties", "items", "minItems",
    "const", "enum", "minimum", "exclusiveMinimum", "format",
}  # fmt: skip


def parse(value):
    return parse_document("session.json", json.dumps(value).encode())


def faults(value):
    with pytest.raises(Refused, match="session.json") as refusal:
        parse(value)
    return [(fault.key, fault.given, fault.allowed) for fault in refusal.value.faults]


def at(path, value):
    """A sound document with one value replaced; numbers in the path are places in a list."""
    doc = document()
    *way, last = path
    place = doc
    for key in way:
        place = place[key]
    place[last] = value
    return doc


def test_a_sound_document_is_given_back_as_it_came():
    assert parse(document()) == document()


def schema_keywords(schema):
    yield from schema
    for name, part in schema.items():
        if name == "properties":
            for inner in part.values():
                yield from schema_keywords(inner)
        elif name in ("items", "additionalProperties") and isinstance(part, dict):
            yield from schema_keywords(part)


def test_the_published_schema_uses_no_keyword_that_is_unknown_here():
    assert set(schema_keywords(BUNDLE)) <= KNOWN_KEYWORDS


JUNK = st.one_of(
    st.booleans(), st.integers(-3, 3), st.floats(-2, 2), st.text(max_size=3), st.just([]), st.just({}), st.just([1]),
    st.just({"x": 1}), st.just("track"), st.just([{"label": "A"}]),
)  # fmt: skip
PATHS = (
    "schema session session.date session.note rider.code rider.mass_kg bike course.kind course.length_m assumed.crr "
    "weather weather.0.time setups setups.0.reference setups.0.items.helmet setups.0.position setups.1.bottles "
    "runs runs.0.number runs.1.lap system_mass_kg repeatability unknown"
)


@settings(max_examples=120, deadline=None, derandomize=True)
@given(st.sampled_from(PATHS.split()), JUNK)
def test_shape_faults_are_those_of_an_independent_validator(path, junk):
    value = at([int(step) if step.isdigit() else step for step in path.split(".")], junk)
    assert bool(shape_faults("session.json", value)) == (not jsonschema.Draft202012Validator(BUNDLE).is_valid(value))


def test_a_null_counts_as_absent():
    assert parse(at(("rider", "mass_kg"), None))
    assert ("rider.code", "nothing", "required") in faults(at(("rider", "code"), None))


@pytest.mark.parametrize(
    ("path", "value", "key", "allowed"),
    [
        (("rider", "mass_kg"), 724, "rider.mass_kg", "15 to 300"),
        (("rider", "height_cm"), 1.79, "rider.height_cm", "50 to 260"),
        (("bike", "wheel_circumference_m"), 2098, "bike.wheel_circumference_m", "0.8 to 3"),
        (("assumed", "crr"), 0.4, "assumed.crr", "0.0005 to 0.05"),
        (("assumed", "drivetrain_efficiency"), 97.5, "assumed.drivetrain_efficiency", "0.7 to 1"),
        (("course", "bearing_deg"), 700, "course.bearing_deg", "-360 to 360"),
        (("weather", 0, "pressure_hpa"), 100800, "weather[0].pressure_hpa", "500 to 1100"),
        (("setups", 1, "tyre_pressure_kpa", "rear"), 7, "setups[1].tyre_pressure_kpa.rear", "30 to 2000"),
        (("session", "date"), "9.5.2026", "session.date", "a date such as 2026-05-09"),
        (("session", "date"), "2026-02-30", "session.date", "a date such as 2026-05-09"),
        (("session", "timezone"), "Azores", "session.timezone", "an IANA time zone such as Atlantic/Azores"),
        (("session", "timezone"), "../etc/passwd", "session.timezone", "an IANA time zone such as Atlantic/Azores"),
        (("weather", 0, "time"), "noon", "weather[0].time", "ISO 8601 date and time with zone"),
        (("runs", 1, "setup"), "C", "runs[1].setup", "a setup of this session: 'A', 'B'"),
        (("runs", 1, "number"), 1, "runs[1].number", "a number of its own for each run"),
        (("setups", 1, "label"), "A", "setups[1].label", "a label of its own for each setup"),
        (("setups", 1, "reference"), True, "setups[1].reference", "one reference"),
        (("runs", 0, "from"), "2026-05-09T08:00:00", "runs[0].from", "ISO 8601 date and time with zone"),
        (("runs", 0, "recording"), "../run.csv", "runs[0].recording", "a plain relative path"),
        (("runs", 0, "recording"), "/etc/passwd", "runs[0].recording", "a plain relative path"),
        (("runs", 0, "recording"), "C:\\run.csv", "runs[0].recording", "a plain relative path"),
        (("runs", 0, "left_out"), " ", "runs[0].left_out", "the reason in words"),
        (("session", "note"), "half \ud800", "session.note", "no control signs"),
        (("session", "note"), "nul \0", "session.note", "no control signs"),
        pytest.param(("session", "note"), "x" * 20_001, "session.note", "at most 20000 characters", id="endless"),
        pytest.param(("extra",), 10**400, "extra", "at most 1e+15", id="huge number"),
        (("runs",), [], "runs", "at least one entry"),
        (("course", "kind"), "hill", "course.kind", "'out_and_back' or 'lap' or 'track'"),
    ],
)
def test_nonsense_is_refused_with_its_key_and_what_is_allowed(path, value, key, allowed):
    (found,) = [fault for fault in faults(at(path, value)) if fault[0] == key]
    assert allowed in found[2]


def test_from_must_come_before_to_and_not_beside_a_lap():
    run = {"number": 1, "setup": "A", "recording": "a.csv", "from": "2026-05-09T09:00:00+01:00"}
    assert faults(document(runs=[{**run, "to": "2026-05-09T08:00:00Z"}]))[0][0] == "runs[0].to"
    assert faults(document(runs=[{**run, "lap": 2}]))[0][0] == "runs[0].lap"


def test_every_fault_is_listed():
    doc = document()
    doc["rider"]["mass_kg"] = 7
    doc["session"]["timezone"] = "Nowhere"
    doc["runs"][0]["setup"] = "Z"
    assert [key for key, _, _ in faults(doc)] == ["rider.mass_kg", "session.timezone", "runs[0].setup"]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (b"", "allowed: JSON"),
        (b"[]", "document: found \\[\\]; allowed: an object"),
        (b'{"a": NaN}', "NaN, which is no number of JSON"),
        (b'{"a": -Infinity}', "-Infinity, which is no number of JSON"),
        (b'{"a": 1e999}', "a huge number"),
        (b'{"a": ' + b"9" * 5000 + b"}", "finite numbers"),
        (b'{"a": 1, "a": 2}', "the key twice in one object"),
        (b'{"a":\n oops}', "session.json, line 2, file"),
        (b'{"a": "\xff"}', "bytes that are no UTF-8"),
        (b"[" * 100_000, "very deep nesting"),
        (b'{"a":' * 30 + b"1" + b"}" * 30, "very deep nesting"),
        ('{"a": 1}'.encode("utf-16"), "bytes that are no UTF-8"),
    ],
)
def test_broken_json_is_refused_with_a_sentence(text, sentence):
    with pytest.raises(Refused, match=sentence):
        parse_document("session.json", text)


def test_unknown_keys_are_noted_once_each():
    doc = document(colour="red")
    for run in doc["runs"]:
        run["mood"] = "good"
    (warning,) = unknown_keys(doc)
    assert (warning.code, warning.level) == ("unknown_key", "note")
    assert "colour, runs[].mood" in warning.what


def test_slots_and_coordinates_are_free_names():
    doc = document()
    doc["setups"][0]["items"]["gloves"] = "Orlo Thin"
    doc["setups"][0]["position"]["elbow_gap_mm"] = 80
    assert unknown_keys(parse(doc)) == ()


def test_the_canonical_form_forgets_how_it_was_written():
    doc = document(note=None, extra={"kept": 1, "empty": {}})
    doc["runs"] = [{**run, "from": "2026-05-09T09:00:00+01:00"} for run in reversed(doc["runs"])]
    doc["course"]["length_m"] = 1500.0
    form = normalised(doc)
    assert [run["number"] for run in form["runs"]] == [1, 2]
    assert form["runs"][0]["from"] == "2026-05-09T08:00:00Z"
    assert [(setup["label"], setup["reference"]) for setup in form["setups"]] == [("A", True), ("B", False)]
    assert form["extra"] == {"kept": 1}
    assert json.dumps(form["course"]["length_m"]) == "1500"


def test_the_canonical_form_is_its_own_and_sound():
    form = normalised(document())
    assert normalised(copy.deepcopy(form)) == form
    assert parse(form) == form


def test_the_first_setup_is_the_reference_where_none_is_named():
    doc = document()
    del doc["setups"][0]["reference"]
    doc["setups"].reverse()
    assert [(setup["label"], setup["reference"]) for setup in normalised(doc)["setups"]] == [("B", True), ("A", False)]


def test_an_unknown_key_of_hundreds_of_levels_is_refused_in_words():
    deep = json.loads('{"a":' * 500 + "1" + "}" * 500)
    assert [(given, allowed) for _, given, allowed in faults(document(extra=deep))] == [
        ("very deep nesting", "at most 24 levels")
    ]


@pytest.mark.parametrize(
    ("path", "entries", "most"),
    [
        (["setups", 0, "items"], {f"slot-{at}": "x" for at in range(25)}, 24),
        (["setups", 0, "position"], {f"pad_{at}_mm": at for at in range(61)}, 60),
        (["runs"], [{"number": at + 1, "setup": "A", "recording": "a.csv"} for at in range(401)], 400),
        (["setups"], [{"label": str(at)} for at in range(41)], 40),
    ],
)
def test_more_than_a_day_holds_is_refused_with_the_count(path, entries, most):
    """Common practice, no source: a day has some tens of runs and a handful of setups."""
    key = "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in path).lstrip(".")
    assert faults(at(path, entries)) == [(key, f"{len(entries)} entries", f"at most {most}")]


def test_a_number_of_thousands_of_digits_is_told_as_one():
    text = json.dumps(document()).replace("82.0", "9" * 5000).encode()
    with pytest.raises(Refused, match="found a number of thousands of digits; allowed: JSON with finite numbers"):
        parse_document("session.json", text)

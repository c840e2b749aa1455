"""Bundles become records and come back the same."""

import copy
import io
import json
import threading
import zipfile

import pytest
from django.db import connection

from analysis.readers.bundle import read_bundle
from analysis.readers.document import normalised
from studio.records.errors import Unusable
from studio.records.models import (
    Bike,
    Consent,
    Course,
    EquipmentItem,
    Event,
    FieldSession,
    Position,
    Product,
    Recording,
    Rider,
    Run,
    Setup,
)
from studio.records.selectors.bundles import fingerprint, session_document, session_files, session_of_bundle
from studio.records.services.bundles import bundle_export, bundle_import
from studio.records.services.events import chain_faults
from studio.records.services.runs import run_update
from tests.factories import (
    FieldSessionFactory,
    RecordingFactory,
    RiderFactory,
    RunFactory,
    SessionSetupFactory,
    StudioFactory,
)

DOCUMENT = {
    "schema": "session-bundle/1",
    "weather_source": "own station",
    "session": {
        "title": "Étape d'essai",
        "date": "2026-05-09",
        "timezone": "Atlantic/Azores",
        "note": "calm until ten",
        "fitter": "Bo",
        "mood": "good",
    },
    "rider": {"code": "R-014", "height_cm": 179, "mass_kg": 72.4, "team": "none"},
    "bike": {
        "name": "Test bike",
        "kind": "time trial",
        "mass_kg": 8.9,
        "wheel_circumference_m": 2.0986,
        "colour": "red",
    },
    "system_mass_kg": 82.0,
    "course": {"kind": "out_and_back", "length_m": 1500, "bearing_deg": 60, "surface": "smooth asphalt"},
    "assumed": {"crr": 0.0042, "drivetrain_efficiency": 0.975},
    "smallest_difference_m2": 0.002,
    "repeatability": {"sd_m2": 0.0012, "df": 30},
    "weather": [{"time": "2026-05-09T07:00:00-01:00", "temperature_c": 18.0, "pressure_hpa": 1008, "sky": "clear"}],
    "setups": [
        {
            "label": "B",
            "items": {"helmet": "Orlo Vent", "wheels": "Tarn 50"},
            "position": {"pad_stack_mm": 600},
            "tyre_pressure_kpa": {"front": 520, "rear": 540},
            "clothing": "skin suit",
            "bottles": 1,
        },
        {"label": "A", "reference": True, "items": {"helmet": "Orlo Vent"}, "position": {"pad_stack_mm": 610}},
    ],
    "runs": [
        {
            "number": 2,
            "setup": "B",
            "recording": "day.csv",
            "from": "2026-05-09T08:10:00Z",
            "to": "2026-05-09T08:15:10.5Z",
        },
        {"number": 1, "setup": "A", "recording": "a.csv", "system_mass_kg": 82.5, "note": "gusty", "gate": "open"},
        {"number": 3, "setup": "A", "recording": "day.csv", "lap": 2, "left_out": "stopped at a gate"},
    ],
}
FILES = {"a.csv": b"time,power_w\n0,200\n", "day.csv": b"time,power_w\n0,210\n"}


def bundle_at(folder, document=DOCUMENT, files=FILES):
    folder.mkdir()
    (folder / "session.json").write_text(json.dumps(document), "utf-8")
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return read_bundle(folder)


@pytest.fixture
def bundle(tmp_path):
    return bundle_at(tmp_path / "bundle")


@pytest.fixture
def session(bundle, studio, fitter_bo):
    return bundle_import(studio=studio, bundle=bundle, by=fitter_bo)


def exported(session, folder):
    target = folder / "export.zip"
    bundle_export(session=session, target=target)
    return read_bundle(target)


def changed(path, value):
    document = copy.deepcopy(DOCUMENT)
    place = document
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    return document


def rows():
    models = (Bike, Course, EquipmentItem, FieldSession, Position, Product, Recording, Rider, Run, Setup)
    return {model.__name__: model.objects.count() for model in models}


def facts(session):
    """Every column of a session's records that is not an id or a time of writing."""
    skip = {"id", "studio", "version", "created_at", "updated_at", "bundle_sha256"}
    records = [session, session.rider, session.bike, session.course]
    records += [link.setup for link in session.setup_links.all()]
    records += [link.setup.position for link in session.setup_links.all()]
    records += [*session.runs.order_by("number"), *session.recordings.order_by("filename")]
    plain = [f for record in records for f in record._meta.concrete_fields if f.name not in skip and not f.is_relation]
    values = [
        (type(record).__name__, field.name, field.value_from_object(record))
        for record in records
        for field in record._meta.concrete_fields
        if field in plain
    ]
    slots = [
        (link.setup.label, link.reference, slot.slot, slot.item.product.name)
        for link in session.setup_links.all()
        for slot in link.setup.slots.all()
    ]
    runs = [(run.number, run.setup.label, run.recording.filename) for run in session.runs.order_by("number")]
    return values, slots, runs


def test_import_keeps_the_facts(session):
    run = session.runs.get(number=2)
    assert (session.fitter_name, session.rider.height_cm, session.rider_mass_kg) == ("Bo", 179, 72.4)
    assert (run.started_at.isoformat(), run.lap) == ("2026-05-09T08:10:00+00:00", None)
    assert session.runs.get(number=3).left_out == "stopped at a gate"
    assert session.setup_links.get(reference=True).setup.label == "A"
    assert session.runs.get(number=1).note == "gusty"


def test_import_keeps_the_bytes(session):
    assert {name: path.read_bytes() for name, path in session_files(session).items()} == FILES


def test_the_same_bundle_twice_is_one_session(bundle, studio, fitter_bo, session):
    before = rows()
    assert bundle_import(studio=studio, bundle=bundle, by=fitter_bo) == session
    assert rows() == before


def test_other_writing_of_the_same_facts_is_the_same_session(tmp_path, studio, session):
    document = changed(("weather", 0, "time"), "2026-05-09T08:00:00Z")
    document["system_mass_kg"], document["bike"]["frame"] = 82, None
    document["runs"].reverse()
    again = bundle_at(tmp_path / "again", document)
    assert bundle_import(studio=studio, bundle=again, by=None) == session


@pytest.mark.parametrize(
    ("path", "value"),
    [(("session", "note"), "windy"), (("runs", 2, "left_out"), "traffic"), (("rider", "mass_kg"), 72.5)],
    ids=["note", "reason", "mass"],
)
def test_other_facts_are_another_session(tmp_path, studio, session, path, value):
    other = bundle_import(studio=studio, bundle=bundle_at(tmp_path / "other", changed(path, value)), by=None)
    assert other != session
    assert (other.rider, other.bike, other.course) == (session.rider, session.bike, session.course)


def test_other_bytes_are_another_session(tmp_path, studio, session):
    other = bundle_at(tmp_path / "other", files=FILES | {"a.csv": b"time,power_w\n0,201\n"})
    assert bundle_import(studio=studio, bundle=other, by=None) != session


def test_export_then_import_is_the_same_session(tmp_path, studio, session):
    before = rows()
    assert bundle_import(studio=studio, bundle=exported(session, tmp_path), by=None) == session
    assert rows() == before


def test_another_studio_gets_the_same_records(tmp_path, session):
    other = bundle_import(studio=StudioFactory(), bundle=exported(session, tmp_path), by=None)
    assert facts(other) == facts(session)
    assert other.unknown == session.unknown
    assert other.bundle_sha256 == session.bundle_sha256


def test_a_session_changed_since_is_found_by_what_it_is_now(tmp_path, studio, session):
    run = session.runs.get(number=1)
    run_update(record=run, by=None, version=1, changes={"left_out": "a lorry passed"})
    assert bundle_import(studio=studio, bundle=exported(session, tmp_path), by=None) == session


def test_unknown_keys_come_back_where_they_were(session):
    document = session_document(session)
    assert document["weather_source"] == "own station"
    assert (document["session"]["mood"], document["rider"]["team"]) == ("good", "none")
    assert [run.get("gate") for run in document["runs"]] == ["open", None, None]
    assert document["weather"][0]["sky"] == "clear"


def test_the_house_keys_are_only_in_an_export(session):
    assert "note" not in session_document(session)["runs"][0]
    assert session_document(session, complete=True)["course"]["surface"] == "smooth asphalt"


def test_own_key_of_another_type_is_kept_as_unknown(tmp_path, studio):
    document = changed(("bike", "size"), 54)
    session = bundle_import(studio=studio, bundle=bundle_at(tmp_path / "sized", document), by=None)
    assert session.bike.size == ""
    assert session_document(session)["bike"]["size"] == 54


def test_an_analysis_sees_equal_facts_in_equal_form(session, bundle):
    document = session_document(session)
    assert document == normalised(document)
    assert document["setups"] == normalised(bundle.document)["setups"]


def test_null_and_empty_mean_not_given(tmp_path, studio):
    document = changed(("setups", 0, "items"), {"helmet": None, "wheels": "", "shoes": "Orlo"})
    document["setups"][0] |= {"position": {"reach_mm": None}, "tyre_pressure_kpa": {"front": None}, "clothing": ""}
    document |= {"assumed": None, "repeatability": None, "weather": None}
    session = bundle_import(studio=studio, bundle=bundle_at(tmp_path / "nulls", document), by=None)
    setup = session.setup_links.get(setup__label="B").setup
    assert [slot.slot for slot in setup.slots.all()] == ["shoes"]
    assert (setup.position, setup.tyre_pressure_kpa, session.assumed_crr, session.weather) == (None, {}, None, [])


def test_export_is_the_same_bytes(session):
    first, second = io.BytesIO(), io.BytesIO()
    bundle_export(session=session, target=first)
    bundle_export(session=session, target=second)
    assert first.getvalue() == second.getvalue()
    assert sorted(zipfile.ZipFile(first).namelist()) == ["a.csv", "day.csv", "session.json"]


def test_items_match_products_by_slot_and_exact_name(tmp_path, studio, session):
    document = changed(("setups", 1, "items"), {"helmet": "Orlo Vent", "wheels": "tarn 50", "shoes": "Orlo Vent"})
    bundle_import(studio=studio, bundle=bundle_at(tmp_path / "other", document), by=None)
    names = Product.objects.order_by("category", "name").values_list("category", "name")
    assert sorted(names) == [
        ("helmet", "Orlo Vent"),
        ("shoes", "Orlo Vent"),
        ("wheels", "Tarn 50"),
        ("wheels", "tarn 50"),
    ]
    assert EquipmentItem.objects.filter(rider__isnull=True).count() == 4


def test_rider_of_another_height_is_refused(bundle, studio):
    RiderFactory(studio=studio, code="R-014", height_cm=170)
    with pytest.raises(Unusable, match=r"rider\.height_cm: found '179'; allowed: 170, as rider R-014"):
        bundle_import(studio=studio, bundle=bundle, by=None)
    assert rows() | {"Rider": 0} == dict.fromkeys(rows(), 0)


def test_rider_without_height_learns_it(bundle, studio):
    rider = RiderFactory(studio=studio, code="R-014", height_cm=None, guardian_name="Ann")
    bundle_import(studio=studio, bundle=bundle, by=None)
    rider.refresh_from_db()
    assert (rider.height_cm, rider.guardian_name) == (179, "Ann")


def test_the_same_code_in_another_studio_is_another_rider(bundle, studio):
    RiderFactory(code="R-014", height_cm=170)
    assert bundle_import(studio=studio, bundle=bundle, by=None).rider.studio == studio


def test_what_no_column_holds_is_refused_with_every_fault(tmp_path, studio):
    document = changed(("session", "title"), "x" * 400)
    document["setups"][0]["items"]["helmet"] = "y" * 300
    document["runs"][2]["left_out"] = "z" * 301
    with pytest.raises(Unusable, match="title") as refusal:
        bundle_import(studio=studio, bundle=bundle_at(tmp_path / "long", document), by=None)
    assert [fault.key for fault in refusal.value.faults] == [
        "session.title",
        "setups[0].items.helmet",
        "runs[2].left_out",
    ]
    assert rows() == dict.fromkeys(rows(), 0)


def test_a_failure_half_way_leaves_nothing(bundle, studio, monkeypatch):
    def fail(**_):
        raise RuntimeError("the disk is full")

    monkeypatch.setattr("studio.records.services.bundles.run_create", fail)
    with pytest.raises(RuntimeError, match="disk is full"):
        bundle_import(studio=studio, bundle=bundle, by=None)
    assert rows() == dict.fromkeys(rows(), 0)
    assert not Event.objects.filter(studio=studio).exists()


def test_files_are_kept_before_rows_name_them(bundle, studio, monkeypatch):
    def fail(**_):
        raise OSError("no space left")

    monkeypatch.setattr("studio.records.services.bundles.keep_file", fail)
    with pytest.raises(OSError, match="no space left"):
        bundle_import(studio=studio, bundle=bundle, by=None)
    assert rows() == dict.fromkeys(rows(), 0)


def test_a_bundle_never_consents(tmp_path, studio):
    document = changed(("rider", "consents"), [{"purpose": "records"}])
    bundle_import(studio=studio, bundle=bundle_at(tmp_path / "consenting", document), by=None)
    assert not Consent.objects.exists()


def test_import_leaves_a_whole_trail(session, studio, fitter_bo):
    assert chain_faults(studio) == []
    last = Event.objects.filter(studio=studio).order_by("-number").first()
    assert (last.verb, last.record_id, last.actor_id) == ("imported", session.pk, fitter_bo.pk)


def test_accents_stored_apart_are_the_same_file(tmp_path, studio):
    document = changed(("runs", 1, "recording"), "e\N{COMBINING ACUTE ACCENT}.csv")
    files = {"day.csv": FILES["day.csv"], "\N{LATIN SMALL LETTER E WITH ACUTE}.csv": FILES["a.csv"]}
    session = bundle_import(studio=studio, bundle=bundle_at(tmp_path / "accents", document, files), by=None)
    assert session.recordings.filter(filename="\N{LATIN SMALL LETTER E WITH ACUTE}.csv").exists()


def test_fingerprint_needs_the_bytes():
    assert fingerprint(DOCUMENT, {"a.csv": "1", "day.csv": "2"}) != fingerprint(DOCUMENT, {"a.csv": "1"})


def test_session_without_runs_is_no_bundle(db):
    with pytest.raises(Unusable, match="runs is none, allowed: at least one run"):
        session_document(FieldSessionFactory())


def test_run_that_counts_needs_a_recording(db):
    session = FieldSessionFactory()
    RunFactory(session=session, number=1)
    RunFactory(session=session, number=2, recording=None)
    RunFactory(session=session, number=3, recording=None, left_out="the device was off")
    with pytest.raises(Unusable, match="run 2 is without a recording") as refusal:
        session_document(session)
    assert len(refusal.value.faults) == 1


def test_left_out_and_never_recorded_is_not_in_a_bundle(db):
    session = FieldSessionFactory()
    setup = SessionSetupFactory(session=session).setup
    recording = RecordingFactory(session=session, filename="one.csv")
    RunFactory(session=session, setup=setup, number=1, recording=recording)
    RunFactory(session=session, number=2, recording=None, left_out="the device was off")
    assert [run["recording"] for run in session_document(session)["runs"]] == ["one.csv"]


def test_document_costs_the_same_for_many_runs(session, django_assert_num_queries):
    fresh = FieldSession.objects.select_related("rider", "bike", "course").get(pk=session.pk)
    with django_assert_num_queries(3):
        session_document(fresh)


def test_another_studio_does_not_know_the_bundle(bundle, session):
    assert session_of_bundle(StudioFactory(), DOCUMENT, session.bundle_sha256) is None


@pytest.mark.server
@pytest.mark.django_db(transaction=True)
def test_the_same_bundle_at_the_same_moment_is_one_session(bundle):
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL (DATABASE_URL): the test's SQLite lies in memory and takes one writer")
    studio, found, together = StudioFactory(), [], threading.Barrier(3)

    def bring_in():
        together.wait(timeout=10)
        try:
            found.append(bundle_import(studio=studio, bundle=bundle, by=None).pk)
        finally:
            connection.close()

    writers = [threading.Thread(target=bring_in) for _ in range(3)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(timeout=60)
    assert (len(found), len(set(found)), FieldSession.objects.count()) == (3, 1, 1)
    assert chain_faults(studio) == []

"""Bundles become records and come back the same."""

import io
import zipfile

import pytest

from analysis.readers.document import normalised
from studio.records.selectors.bundles import session_document, session_files
from studio.records.services.bundles import bundle_export, bundle_import
from studio.records.services.runs import run_update
from tests.factories import (
    StudioFactory,
)
from tests.studio.records.bundle_samples import FILES, bundle_at, changed, exported, facts, rows


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

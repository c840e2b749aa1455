"""What a bundle meets in a studio: products, riders, refusals, failures, and other writers."""

import threading

import pytest
from django.db import connection

from studio.records.errors import Unusable
from studio.records.models import (
    Consent,
    EquipmentItem,
    Event,
    FieldSession,
    Product,
)
from studio.records.selectors.bundles import fingerprint, session_document, session_of_bundle
from studio.records.services.bundles import bundle_import
from studio.records.services.events import chain_faults
from tests.factories import (
    FieldSessionFactory,
    RecordingFactory,
    RiderFactory,
    RunFactory,
    SessionSetupFactory,
    StudioFactory,
)
from tests.studio.records.bundle_samples import DOCUMENT, FILES, bundle_at, changed, rows


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
    with pytest.raises(Unusable, match=r"rider\.height_cm: found 179; allowed: 170, as rider R-014"):
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

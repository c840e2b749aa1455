"""A rider's rights: taking all of it along, and having it erased without breaking the trail."""

import io
import json
import zipfile

import pytest
from django.apps import apps
from rest_framework.test import APIClient

from analysis.results.models import Analysis, Job
from reports.models import Report
from reports.selectors import next_number
from studio.records.models import Consent, Event, EventDetail, FieldSession, Recording, Rider, User
from studio.records.services.events import chain_faults, note_event
from studio.records.store import file_path, keep_file
from tests import factories as make

pytestmark = pytest.mark.django_db
SECRET = "Zephyrine"


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    settings.FILES_FOLDER = tmp_path / "files"


def life_of(studio, rider, owner, content):
    """One rider with everything that can hang on a rider."""
    kept = keep_file(studio_id=studio.pk, chunks=[content])
    channels = keep_file(studio_id=studio.pk, chunks=[content + b"channels"])
    bike = make.BikeFactory(rider=rider, name=SECRET)
    item = make.EquipmentItemFactory(rider=rider, product__studio=studio)
    make.MountingFactory(bike=bike, item=item)
    setup = make.SetupFactory(bike=bike, position=make.PositionFactory(bike=bike))
    make.SetupItemFactory(setup=setup, item=item)
    session = make.FieldSessionFactory(rider=rider, bike=bike, title=SECRET)
    recording = make.RecordingFactory(
        session=session, sha256=kept.sha256, size_bytes=kept.size_bytes, channels_sha256=channels.sha256
    )
    make.RunFactory(session=session, setup=setup, recording=recording)
    make.SessionSetupFactory(session=session, setup=setup)
    analysis = make.AnalysisFactory(session=session, result={"title": SECRET})
    make.ReportFactory(analysis=analysis, number=rider.birth_year or 1, issued_by=owner)
    make.JobFactory(studio=studio, session=session, requested_by=owner, payload={"sha256": kept.sha256})
    make.ConsentFactory(rider=rider, entered_by=rider.user or owner)
    for record, by in ((rider, owner), (session, rider.user), (report_of(analysis), owner)):
        note_event(studio=studio, by=by, verb="changed", record=record, detail={"said": SECRET}, address="192.0.2.7")
    return session


def report_of(analysis):
    return Report.objects.get(analysis=analysis)


@pytest.fixture
def cy(studio, owner_ada, rider_cy):
    Rider.objects.filter(pk=rider_cy.pk).update(family_name=SECRET, health_notes="left knee")
    rider_cy.refresh_from_db()
    life_of(studio, rider_cy, owner_ada, b"time,power_w\n0,200\n")
    return rider_cy


def client_of(person):
    client = APIClient()
    client.force_login(person)
    return client


def erase(person, rider, code=None):
    return client_of(person).post("/api/v1/erasures/", {"rider": str(rider.pk), "code": code or rider.code})


def everything():
    """Every row of every table of ours, as text."""
    models = [m for label in ("records", "results", "reports") for m in apps.get_app_config(label).get_models()]
    return "\n".join(str(row) for model in models for row in model._default_manager.values())


@pytest.mark.parametrize("who", ["client_cy", "owner_ada"])
def test_nothing_of_an_erased_rider_is_left_and_the_chain_is_whole(
    request, studio, cy, who, django_capture_on_commit_callbacks
):
    pk, files = cy.pk, [file_path(studio_id=studio.pk, sha256=s) for s in Recording.objects.values_list("sha256").get()]
    assert (SECRET in everything(), files[0].exists()) == (True, True)
    with django_capture_on_commit_callbacks(execute=True):
        assert erase(request.getfixturevalue(who), cy).status_code == 204
    left = everything()
    assert [word for word in (SECRET, "left knee", "'cy'", "192.0.2.7") if word in left] == []
    assert not any(model.objects.exists() for model in (Rider, FieldSession, Recording, Analysis, Report, Job, Consent))
    assert not User.objects.filter(username="cy").exists()
    assert not any(path.exists() for path in files)
    assert Event.objects.get(verb="erased").record_id == pk
    assert chain_faults(studio) == []


def test_another_riders_rows_words_and_equal_bytes_stay(studio, cy, owner_ada, django_capture_on_commit_callbacks):
    other = make.RiderFactory(studio=studio, birth_year=1990)
    life_of(studio, other, owner_ada, b"time,power_w\n0,200\n")
    words = EventDetail.objects.filter(event__record_id=other.pk).get().text
    with django_capture_on_commit_callbacks(execute=True):
        erase(cy.user, cy)
    kept = Recording.objects.get()
    assert file_path(studio_id=studio.pk, sha256=kept.sha256).read_bytes() == b"time,power_w\n0,200\n"
    assert EventDetail.objects.get(event__record_id=other.pk).text == words
    assert [model.objects.count() for model in (Rider, FieldSession, Analysis, Report, Job, Consent)] == [1] * 6


def test_a_piece_that_another_rider_has_ridden_becomes_the_studios(studio, cy, owner_ada):
    slot = make.SetupItemFactory(setup__bike__rider__studio=studio, item=cy.items.get())
    erase(owner_ada, cy)
    slot.item.refresh_from_db()
    assert slot.item.rider is None


def test_the_number_of_an_erased_report_is_not_given_again(studio, cy, owner_ada):
    note_event(studio=studio, by=owner_ada, verb="issued", record=Report.objects.get())
    erase(owner_ada, cy)
    assert next_number(studio) == 2


def test_erasing_must_be_meant(cy):
    refused = erase(cy.user, cy, code="R-other")
    assert (refused.status_code, refused.json()["errors"][0]["key"]) == (422, "code")
    assert Rider.objects.filter(pk=cy.pk).exists()


@pytest.mark.parametrize(("who", "status"), [("fitter_bo", 403), ("shop_dee", 403), ("outsider_flo", 422)])
def test_who_may_not_erase(request, cy, who, status):
    assert erase(request.getfixturevalue(who), cy).status_code == status
    assert Rider.objects.filter(pk=cy.pk).exists()


def test_a_client_erases_no_other_rider(studio, cy):
    assert erase(cy.user, make.RiderFactory(studio=studio)).status_code == 422


def test_all_of_it_is_taken_along_but_what_is_for_fitters_only(cy):
    answer = client_of(cy.user).get(f"/api/v1/riders/{cy.pk}/export/")
    archive = zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))
    answer.close()
    about = json.loads(archive.read("rider.json"))
    assert (about["rider"]["family_name"], about["bikes"][0]["name"]) == (SECRET, SECRET)
    assert "keeps who I am" in about["consents"][0]["wording"]
    assert "left knee" not in "".join(archive.read(name).decode(errors="replace") for name in archive.namelist())
    (bundle,) = [name for name in archive.namelist() if name.endswith("bundle.zip")]
    inside = zipfile.ZipFile(io.BytesIO(archive.read(bundle)))
    assert b"time,power_w\n0,200\n" in [inside.read(name) for name in inside.namelist()]
    endings = [name.rsplit(".", 1)[1] for name in archive.namelist()]
    assert (endings.count("pdf"), endings.count("json")) == (1, 2)


@pytest.mark.parametrize("runs", ["none", "without a recording"])
def test_a_session_that_is_no_bundle_yet_is_taken_along_as_it_stands(studio, cy, runs):
    session = make.FieldSessionFactory(rider=cy, title="begun", date="2030-01-01")
    kept = keep_file(studio_id=studio.pk, chunks=[b"time,power_w\n0,300\n"])
    make.RecordingFactory(session=session, filename="day.csv", sha256=kept.sha256, size_bytes=kept.size_bytes)
    if runs != "none":
        make.RunFactory(session=session, recording=None, note="ridden at noon")
    for address in (f"/riders/{cy.pk}/data/", f"/api/v1/riders/{cy.pk}/export/"):
        answer = client_of(cy.user).get(address)
        assert answer.status_code == 200
        archive = zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))
        records = json.loads(archive.read("sessions/002-2030-01-01/session-records.json"))
        assert records["session"]["title"] == "begun"
        assert [run["note"] for run in records["runs"]] == ([] if runs == "none" else ["ridden at noon"])
        assert archive.read("sessions/002-2030-01-01/recordings/day.csv") == b"time,power_w\n0,300\n"
        assert "sessions/001" in "".join(archive.namelist())


def test_nobody_takes_another_riders_data_along(studio, cy, outsider_flo, shop_dee):
    other = make.RiderFactory(studio=studio)
    assert client_of(cy.user).get(f"/api/v1/riders/{other.pk}/export/").status_code == 404
    assert client_of(outsider_flo).get(f"/api/v1/riders/{cy.pk}/export/").status_code == 404
    assert client_of(shop_dee).get(f"/api/v1/riders/{cy.pk}/export/").status_code == 403


def test_the_page_gives_the_data(cy):
    data = client_of(cy.user).get(f"/riders/{cy.pk}/data/")
    assert data["Content-Type"] == "application/zip"
    assert zipfile.is_zipfile(io.BytesIO(b"".join(data.streaming_content)))
    data.close()  # last of all: it ends the request, and PostgreSQL's connection with it


def test_the_page_erases_and_signs_the_erased_rider_out(cy):
    client, page = client_of(cy.user), f"/riders/{cy.pk}/consents/"
    assert client.post(f"/riders/{cy.pk}/erase/", {"code": "no"}, format="multipart").status_code == 400
    assert client.get(page).status_code == 200
    assert client.post(f"/riders/{cy.pk}/erase/", {"code": cy.code}, format="multipart").url == "/sign-in/"
    assert client.get(page).status_code == 302

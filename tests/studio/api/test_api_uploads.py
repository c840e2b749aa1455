"""Files come in as a bundle or one recording at a time: on the disk first, then the row, then the job."""

import io
import zipfile

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from analysis.readers.faults import Fault, shown
from analysis.results.models import Job
from studio.records.models import Recording
from studio.records.store import file_path
from tests.factories import FieldSessionFactory

BUNDLES, RECORDINGS = "/api/v1/bundles/", "/api/v1/recordings/"


@pytest.fixture
def bo(api, fitter_bo):
    return api(fitter_bo)


@pytest.fixture
def session(studio):
    return FieldSessionFactory(rider__studio=studio)


def upload(name, content, content_type="application/octet-stream"):
    return SimpleUploadedFile(name, content, content_type)


def small_zip(text="{}"):
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("session.json", text)
    return file.getvalue()


def send(client, path, **fields):
    return client.post(path, fields, format="multipart")


def test_a_zip_is_202_with_a_job_and_its_bytes_are_kept(bo, studio):
    content = small_zip()
    answer = send(bo, BUNDLES, bundle=upload("day.zip", content))
    assert answer.status_code == 202
    job = Job.objects.get(pk=answer.json()["id"])
    assert answer["Location"] == f"/api/v1/jobs/{job.pk}/"
    assert (answer.json()["state"], answer.json()["progress"]) == ("queued", 0.0)
    assert (job.kind, job.payload["filename"]) == ("import_bundle", "day.zip")
    assert file_path(studio_id=studio.pk, sha256=job.payload["sha256"]).read_bytes() == content


def test_no_field_bundle_is_400_and_named(bo, db):
    for fields in ({}, {"zip": upload("day.zip", small_zip())}, {"bundle": "text"}):
        answer = send(bo, BUNDLES, **fields)
        assert answer.status_code == 400
        assert answer.json()["errors"]


@pytest.mark.parametrize(
    "content", [b"", b"time,power_w\n", b"PK\x03\x04 torn", small_zip()[:-30]], ids=["empty", "text", "torn", "cut"]
)
def test_what_is_no_whole_zip_is_415(bo, db, content):
    answer = send(bo, BUNDLES, bundle=upload("day.zip", content))
    first = content[:8].decode(errors="replace")
    assert answer.status_code == 415
    assert answer.json()["errors"] == [
        {
            "file": "day.zip",
            "line": None,
            "key": "bundle",
            "given": Fault("", "", f"{len(content)} bytes that begin {shown(first)}", "").given,
            "allowed": "a whole zip",
        }
    ]
    assert not Job.objects.exists()


def test_a_body_that_is_no_form_is_415(bo, db):
    answer = bo.post(BUNDLES, small_zip(), content_type="application/zip")
    assert answer.status_code == 415
    assert answer.json()["errors"][0]["allowed"] == "multipart/form-data"
    assert bo.post(RECORDINGS, {"session": "x"}).status_code == 415


@pytest.mark.parametrize("extra", [0, 100_000])
def test_a_file_over_the_cap_is_413_and_nothing_is_kept(bo, studio, session, settings, extra):
    settings.UPLOAD_MAX_BYTES = 4000
    content = small_zip("x" * 5000) + b"" if not extra else small_zip("x" * extra)
    for answer in (
        send(bo, BUNDLES, bundle=upload("day.zip", content)),
        send(bo, RECORDINGS, session=str(session.pk), file=upload("run.csv", content)),
    ):
        assert (answer.status_code, answer["Content-Type"]) == (413, "application/problem+json")
    assert not Job.objects.exists()
    assert not Recording.objects.exists()
    assert [path for path in settings.FILES_FOLDER.rglob("*") if path.is_file()] == []


def test_a_recording_is_201_with_its_address_and_the_job_that_reads_it(bo, studio, session):
    content = b"time,power_w\n0,200\n"
    answer = send(bo, RECORDINGS, session=str(session.pk), file=upload("run-01.csv", content))
    assert answer.status_code == 201, answer.content
    said = answer.json()
    assert answer["Location"] == f"/api/v1/recordings/{said['id']}/"
    assert (said["filename"], said["size_bytes"], said["state"]) == ("run-01.csv", len(content), "stored")
    job = Job.objects.get(pk=said["job"])
    assert (job.kind, job.payload, job.session) == ("read_recording", {"recording": said["id"]}, session)
    assert file_path(studio_id=studio.pk, sha256=said["sha256"]).read_bytes() == content


def test_the_answer_shows_the_recording_as_its_address_does(bo, session):
    made = send(bo, RECORDINGS, session=str(session.pk), file=upload("run-01.csv", b"time,power_w\n0,200\n"))
    assert bo.get(made["Location"]).json() == {key: value for key, value in made.json().items() if key != "job"}


def test_an_empty_recording_is_422(bo, session):
    assert send(bo, RECORDINGS, session=str(session.pk), file=upload("run.csv", b"")).status_code == 422


def test_another_file_of_the_same_name_is_409(bo, session):
    sent = [send(bo, RECORDINGS, session=str(session.pk), file=upload("run.csv", text)) for text in (b"a", b"b")]
    assert [answer.status_code for answer in sent] == [201, 409]


def test_a_recording_without_its_session_or_file_is_400(bo, session):
    assert send(bo, RECORDINGS, file=upload("run.csv", b"a")).status_code == 400
    assert send(bo, RECORDINGS, session=str(session.pk)).status_code == 400
    assert send(bo, RECORDINGS, session=str(session.pk), file=upload("r.csv", b"a"), more="x").status_code == 400


def test_a_recording_for_another_studios_session_is_422_and_not_kept(api, outsider_eve, session, settings):
    answer = send(api(outsider_eve), RECORDINGS, session=str(session.pk), file=upload("run.csv", b"a"))
    assert answer.status_code == 422
    assert not settings.FILES_FOLDER.exists()


@pytest.mark.parametrize("name", ["赤い風.csv", "ряд-1.csv", "مسار.csv", "a b'c.csv"])
def test_names_in_every_script_are_kept(bo, session, name):
    answer = send(bo, RECORDINGS, session=str(session.pk), file=upload(name, b"a"))
    assert answer.json()["filename"] == name


def test_a_path_in_a_file_name_is_only_its_last_part(bo, session):
    answer = send(bo, RECORDINGS, session=str(session.pk), file=upload("../../etc/run.csv", b"a"))
    assert answer.json()["filename"] == "run.csv"


def test_a_torn_form_is_400(bo, db):
    body = b'--x\r\nContent-Disposition: form-data; name="bundle"'
    assert bo.post(BUNDLES, body, content_type="multipart/form-data").status_code == 400
    assert bo.post(BUNDLES, body, content_type="multipart/form-data; boundary=x").status_code == 400


@pytest.mark.parametrize("route", ["riders", "bundles", "recordings"])
def test_a_body_in_pieces_is_not_taken_for_an_empty_one(api, fitter_bo, route):
    """RFC 9112, 6.3: a body with Transfer-Encoding has no length before its end."""
    sent = {"content_type": "application/json", "HTTP_TRANSFER_ENCODING": "chunked"}
    answer = api(fitter_bo).generic("POST", f"/api/v1/{route}/", b"", **sent)
    assert answer.status_code == 400
    assert "without a length" in answer.json()["detail"]
    assert answer.json()["errors"][0]["given"] == "'chunked'"

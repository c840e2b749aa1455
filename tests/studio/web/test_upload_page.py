"""Uploading a bundle: what is refused at the door, and what becomes a job."""

import errno
import io
import zipfile

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from analysis.results.models import Job
from studio.records.store import file_path
from tests.studio.web.markup import Page

MIB = 1024 * 1024


def zipped(**files):
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return target.getvalue()


def sent(client, content, name="day.zip"):
    return client.post("/upload/", {"bundle": SimpleUploadedFile(name, content)})


@pytest.fixture
def bo(fitter_bo, browser):
    return browser(fitter_bo)


def refusal(response, status):
    assert response.status_code == status
    assert not Job.objects.exists()
    return Page(response.content.decode()).text


def test_a_zip_becomes_a_job_and_its_bytes_are_kept(bo, fitter_bo, studio):
    content = zipped(**{"session.json": "{}"})
    response = sent(bo, content, "../two wheels.zip")
    job = Job.objects.get()
    assert response.url == f"/jobs/{job.pk}/"
    assert (job.kind, job.requested_by, job.payload["filename"]) == ("import_bundle", fitter_bo, "two wheels.zip")
    assert file_path(studio_id=studio.pk, sha256=job.payload["sha256"]).read_bytes() == content


def test_no_file_is_told(bo):
    assert "No file was chosen" in refusal(bo.post("/upload/", {}), 400)


def test_an_empty_file_is_told(bo):
    assert "day.zip is empty" in refusal(sent(bo, b""), 400)


def test_what_is_no_zip_is_told(bo):
    assert "run.csv is not a zip" in refusal(sent(bo, b"time,power_w\n1,200\n", "run.csv"), 415)


def test_a_file_over_the_cap_is_told_the_cap(bo, settings):
    settings.UPLOAD_MAX_BYTES = MIB
    content = zipped(**{"session.json": b"{}"}) + b"\0" * MIB
    assert "larger than 1 MiB" in refusal(sent(bo, content), 413)


def test_a_body_far_over_the_cap_is_read_off_and_never_spooled(bo, settings):
    settings.UPLOAD_MAX_BYTES = MIB
    settings.FILE_UPLOAD_HANDLERS = []  # parsing the form at all would now fail
    assert "larger than 1 MiB" in refusal(sent(bo, b"\0" * (2 * MIB)), 413)


def test_an_outsider_of_no_account_uploads_nothing(db, browser):
    response = sent(browser(), zipped(a="b"))
    assert response.url == "/sign-in/?next=/upload/"
    assert not Job.objects.exists()


def test_a_client_uploads_nothing(client_cy, browser):
    assert sent(browser(client_cy), zipped(a="b")).status_code == 403
    assert not Job.objects.exists()


def test_the_cap_stands_in_the_form(fitter_bo, page):
    assert "at most 64 MiB" in page(fitter_bo, "/upload/").text


def test_a_full_disk_is_told_and_keeps_nothing(bo, monkeypatch):
    def full(**_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("studio.web.upload.keep_file", full)
    assert "disk is full" in refusal(sent(bo, zipped(a="b")), 503)

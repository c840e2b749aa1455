"""The main job without JavaScript: sign in, upload, see the answer, download the PDF, all by forms and links."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from analysis.jobs.demo import demo_bundle
from analysis.jobs.runner import run_next
from analysis.readers.bundle import write_bundle
from analysis.results.models import Analysis, Job
from reports import wording
from studio.records.models import FieldSession
from tests.factories import PASSWORD
from tests.studio.web.markup import Page


def zipped_day(**changes):
    document, files = demo_bundle(1)
    target = io.BytesIO()
    write_bundle(document | changes, files, target)
    return SimpleUploadedFile("day.zip", target.getvalue())


@pytest.fixture
def bo(fitter_bo, browser):
    client = browser()
    client.post("/sign-in/", {"username": "bo", "password": PASSWORD})
    return client


def seen_at(client, address):
    response = client.get(address)
    assert response.status_code == 200
    return Page(response.content.decode())


def link_with(seen, part):
    return next(link for link in seen.links() if part in link)


def test_a_fitter_uploads_sees_the_answer_and_downloads_the_pdf(bo):
    job = bo.post("/upload/", {"bundle": zipped_day()}).url
    assert "Waiting for a worker" in seen_at(bo, job).text
    assert run_next(worker="test")
    result = link_with(seen_at(bo, job), "/results/")
    answer = seen_at(bo, result)
    stored = Analysis.objects.get().result
    assert " ".join(wording.answer(stored, stored["comparisons"][0]).split()) in answer.text
    assert len(answer.all("svg")) == 1

    report_job = bo.post(next(form for form in answer.forms() if form.endswith("/report/"))).url
    assert run_next(worker="test")
    pdf = bo.get(link_with(seen_at(bo, report_job), "/pdf/"))
    assert pdf.content.startswith(b"%PDF-")
    assert link_with(seen_at(bo, result), "/pdf/")


def test_the_session_goes_out_as_a_bundle_that_comes_in_again(bo):
    bo.post("/upload/", {"bundle": zipped_day()})
    assert run_next(worker="test")
    session = FieldSession.objects.get()
    response = bo.get(link_with(seen_at(bo, f"/sessions/{session.pk}/"), "/bundle/"))
    exported = SimpleUploadedFile("again.zip", b"".join(response.streaming_content))
    bo.post("/upload/", {"bundle": exported})
    assert run_next(worker="test")
    assert FieldSession.objects.get() == session
    assert Job.objects.filter(state="done").count() == 2


def test_a_bundle_with_faults_is_answered_with_all_of_them(bo):
    runs = [{"number": 1, "setup": "Z", "recording": "run-01.csv"}, {"number": 2, "setup": "A", "recording": "no.csv"}]
    job = bo.post("/upload/", {"bundle": zipped_day(runs=runs)}).url
    assert run_next(worker="test")
    text = seen_at(bo, job).text
    assert "Refused." in text
    assert "runs[0].setup" in text
    assert "'Z'" in text

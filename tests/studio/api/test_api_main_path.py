"""The main path over the API, with real bytes and the real jobs run in this process: a bundle, or record by record."""

import io
import json
import zipfile
from pathlib import Path

import jsonschema
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from pypdf import PdfReader

from analysis.jobs.demo_bundle import demo_bundle
from analysis.jobs.runner import run_next
from analysis.readers.bundle import write_bundle

V1 = "/api/v1"
RESULT = json.loads((Path(__file__).parents[2] / "references/schemas/session-result-1.schema.json").read_text())


@pytest.fixture(scope="module")
def day():
    """A simulated day of eight runs: its document and its files."""
    return demo_bundle(1)


@pytest.fixture
def bo(api, fitter_bo):
    return api(fitter_bo)


def zipped(document, files):
    target = io.BytesIO()
    write_bundle(document, files, target)
    return target.getvalue()


def finished(client, answer):
    """The job of a 202 once it has run, as its own address tells it."""
    assert answer.status_code == 202, answer.content
    path = answer["Location"]
    assert client.get(path).json()["state"] == "queued"
    assert run_next(worker="test")
    return client.get(path).json()


def send_bundle(client, content):
    file = SimpleUploadedFile("day.zip", content, "application/zip")
    return client.post(f"{V1}/bundles/", {"bundle": file}, format="multipart")


def test_a_bundle_becomes_an_analysis_a_report_and_a_bundle_again(bo, day):
    job = finished(bo, send_bundle(bo, zipped(*day)))
    assert (job["state"], job["progress"], job["problem"]) == ("done", 1.0, None)

    result = bo.get(f"{V1}/analyses/{job['result']['analysis']}/").json()["result"]
    jsonschema.validate(result, RESULT)
    assert [run["number"] for run in result["runs"]] == list(range(1, 9))

    issued = finished(bo, bo.post(f"{V1}/reports/", {"analysis": job["result"]["analysis"]}))
    pdf = bo.get(f"{V1}/reports/{issued['result']['report']}/pdf/")
    assert "kg/m" in "".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf.content)).pages)

    exported = bo.get(f"{V1}/sessions/{job['result']['session']}/bundle/", HTTP_ACCEPT="application/zip")
    content = b"".join(exported.streaming_content)
    assert {name.split("/")[-1] for name in zipfile.ZipFile(io.BytesIO(content)).namelist()} >= set(day[1])
    again = finished(bo, send_bundle(bo, content))
    assert again["result"]["session"] == job["result"]["session"]


def test_what_is_wrong_inside_ends_the_job_refused_with_its_problem(bo, day):
    document, files = day
    runs = [{**run, "setup": "Z"} for run in document["runs"]]
    job = finished(bo, send_bundle(bo, zipped(document | {"runs": runs}, files)))
    assert (job["state"], job["result"]) == ("refused", None)
    assert job["problem"]["status"] == 422
    assert len(job["problem"]["errors"]) >= len(runs)
    assert bo.get(f"{V1}/sessions/").json()["results"] == []


def made(client, route, **fields):
    answer = client.post(f"{V1}/{route}/", fields)
    assert answer.status_code == 201, answer.content
    return answer.json()["id"]


def make_setup(bo, bike, said):
    position = made(bo, "positions", bike=bike, coordinates=said["position"])
    items = {}
    for slot, name in said["items"].items():
        known = bo.get(f"{V1}/products/", {"category": slot, "name": name}).json()["results"]
        product = known[0]["id"] if known else made(bo, "products", category=slot, name=name)
        pieces = bo.get(f"{V1}/equipment-items/", {"product": product}).json()["results"]
        items[slot] = pieces[0]["id"] if pieces else made(bo, "equipment-items", product=product)
    same = {key: said[key] for key in ("label", "tyre_pressure_kpa", "clothing", "bottles") if key in said}
    return made(bo, "setups", bike=bike, position=position, items=items, **same)


def send_recording(bo, session, name, content):
    answer = bo.post(
        f"{V1}/recordings/", {"session": session, "file": SimpleUploadedFile(name, content)}, format="multipart"
    )
    assert answer.status_code == 201, answer.content
    assert run_next(worker="test")
    assert bo.get(f"{V1}/jobs/{answer.json()['job']}/").json()["state"] == "done"
    assert bo.get(answer["Location"]).json()["state"] == "read"
    return answer.json()["id"]


def test_a_fitter_without_bundles_works_record_by_record_to_the_same_answer(bo, day):
    document, files = day
    rider = made(bo, "riders", code="R-014", height_cm=179)
    bike = made(bo, "bikes", rider=rider, **document["bike"])
    course = made(bo, "courses", **document["course"])
    setups = {said["label"]: make_setup(bo, bike, said) for said in document["setups"]}
    session = made(
        bo,
        "sessions",
        rider=rider,
        bike=bike,
        course=course,
        setups=list(setups.values()),
        rider_mass_kg=document["rider"].get("mass_kg"),
        **{key: document["session"][key] for key in ("title", "date", "timezone")},
        **{key: document[key] for key in ("system_mass_kg", "assumed", "weather") if key in document},
    )
    for run in document["runs"]:
        recording = send_recording(bo, session, run["recording"], files[run["recording"]])
        made(bo, "runs", session=session, setup=setups[run["setup"]], recording=recording)
    job = finished(bo, bo.post(f"{V1}/sessions/{session}/analyse/"))
    assert job["state"] == "done", job
    result = bo.get(f"{V1}/analyses/{job['result']['analysis']}/").json()["result"]
    bundled = finished(bo, send_bundle(bo, zipped(document | {"rider": {"code": "R-015"}}, files)))
    other = bo.get(f"{V1}/analyses/{bundled['result']['analysis']}/").json()["result"]
    assert [run["cda_m2"] for run in result["runs"]] == [run["cda_m2"] for run in other["runs"]]

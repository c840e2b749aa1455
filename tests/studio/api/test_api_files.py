"""Files over the API: several at once, what is in one, how its fields are read, and its parts made runs."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from analysis.jobs.runner import run
from analysis.readers.mapping_document import device_key
from analysis.results.models import Job
from analysis.results.services.jobs import claim_next
from studio.records.models import Recording, Run
from tests.factories import FieldSessionFactory, SetupFactory

RECORDINGS = "/api/v1/recordings/"
LAPS = b"time,power_w,speed_mps,lap\n" + b"".join(
    b"2026-05-09T08:%02d:%02dZ,250,10,%d\n" % (at // 60, at % 60, 1 + at // 60) for at in range(180)
)


@pytest.fixture
def bo(api, fitter_bo):
    return api(fitter_bo)


@pytest.fixture
def session(studio):
    return FieldSessionFactory(rider__studio=studio)


def send(client, session, **files):
    uploads = [SimpleUploadedFile(f"{name}.csv", content) for name, content in files.items()]
    return client.post(RECORDINGS, {"session": str(session.pk), "file": uploads}, format="multipart")


def work():
    while (attempt := claim_next(worker="one")) is not None:
        run(attempt)


@pytest.fixture
def recording(bo, session):
    """A day of three laps that was read."""
    answer = send(bo, session, day=LAPS)
    work()
    return answer["Location"]


def test_several_files_are_kept_together_each_with_its_job(bo, session):
    answer = send(bo, session, one=b"time,power_w\n0,1\n", two=b"time,power_w\n0,2\n")
    assert answer.status_code == 201, answer.content
    made = answer.json()["recordings"]
    assert [row["filename"] for row in made] == ["one.csv", "two.csv"]
    assert [str(job.pk) for job in Job.objects.order_by("id")] == [row["job"] for row in made]
    assert {row["id"] for row in bo.get(answer["Location"]).json()["results"]} == {row["id"] for row in made}


def test_of_several_files_all_or_none_are_kept_and_every_fault_is_told(bo, session):
    answer = send(bo, session, one=b"time,power_w\n0,1\n", two=b"", three=b"")
    assert answer.status_code == 422
    assert [error["given"].split(",")[0] for error in answer.json()["errors"]] == ["'two.csv'", "'three.csv'"]
    assert not Recording.objects.exists()
    assert not Job.objects.exists()


def test_two_files_of_one_name_are_409(bo, session):
    uploads = [SimpleUploadedFile("run.csv", content) for content in (b"a", b"b")]
    answer = bo.post(RECORDINGS, {"session": str(session.pk), "file": uploads}, format="multipart")
    assert answer.status_code == 409
    assert not Recording.objects.exists()


def test_a_preview_says_what_was_found(bo, recording):
    said = bo.get(f"{recording}preview/").json()
    assert (said["state"], said["problem"], said["date_note"]) == ("read", None, None)
    found = said["found"]
    assert [channel["name"] for channel in found["channels"]] == ["speed_mps", "power_w", "lap"]
    assert [lap["number"] for lap in found["laps"]] == [1, 2, 3]
    assert [run["lap"] for run in found["proposed_runs"] if run["by"] == "laps"] == [1, 2, 3]
    assert (
        said["device_key"] == found["device_key"] == device_key({"columns": LAPS.split(b"\n")[0].decode().split(",")})
    )


def test_a_preview_waits_for_the_reading_and_tells_a_refusal(bo, session):
    path = send(bo, session, day=b"Zeit,power_w\n0,1\n")["Location"]
    assert bo.get(f"{path}preview/").json()["state"] == "stored"
    work()
    said = bo.get(f"{path}preview/").json()
    assert (said["state"], said["found"]) == ("refused", None)
    assert said["problem"]["errors"][0]["key"] == "time"
    assert [field["field"] for field in said["fields"]] == ["Zeit", "power_w"]


def test_a_day_that_is_not_the_sessions_is_told(bo, studio):
    session = FieldSessionFactory(rider__studio=studio, date="2026-05-06")
    path = send(bo, session, day=LAPS)["Location"]
    work()
    note = bo.get(f"{path}preview/").json()["date_note"]
    assert "recorded on 9 May 2026, 3 days after the session's date, 6 May 2026" in note


def test_a_mapping_from_the_preview_reads_the_file(bo, session):
    path = send(bo, session, day=b"Zeit,power_w\n0,1\n")["Location"]
    work()
    body = {
        "device_key": bo.get(f"{path}preview/").json()["device_key"],
        "fields": [{"field": "Zeit", "channel": "time"}],
    }
    assert bo.post("/api/v1/mappings/", body).status_code == 201
    answer = bo.post(f"{path}read/")
    assert (answer.status_code, answer.json()["kind"]) == (202, "read_recording")
    work()
    said = bo.get(f"{path}preview/").json()
    assert (said["state"], said["mapping"]) == ("read", [{"field": "Zeit", "channel": "time"}])


def test_a_mapping_with_faults_is_422_and_all_are_named(bo, studio):
    body = {"device_key": "device-" + "a" * 24, "fields": [{"field": "x", "channel": "lap", "unit": "km"}] * 2}
    answer = bo.post("/api/v1/mappings/", body)
    assert answer.status_code == 422
    assert [error["key"] for error in answer.json()["errors"]][:2] == ["fields[0].unit", "fields[1].unit"]


def test_parts_become_runs_with_their_setups(bo, recording, session):
    setups = [str(SetupFactory(bike=session.bike, label=label).pk) for label in "AB"]
    cuts = [
        {"setup": setups[0], "lap": 1},
        {"setup": setups[1], "from": "2026-05-09T08:01:00Z", "to": "2026-05-09T08:02:00Z", "note": "calm"},
    ]
    answer = bo.post(f"{recording}cut/", {"runs": cuts})
    assert answer.status_code == 201, answer.content
    assert [(run["number"], run["setup"], run["lap"]) for run in answer.json()["runs"]] == [
        (1, setups[0], 1), (2, setups[1], None),
    ]  # fmt: skip
    assert len(bo.get(answer["Location"]).json()["results"]) == 2


@pytest.mark.parametrize("runs", [[], [{"lap": 1}], [{"setup": "x", "lap": 1}], "all", [3]])
def test_cuts_of_another_shape_are_400(bo, recording, runs):
    assert bo.post(f"{recording}cut/", {"runs": runs}).status_code == 400


def test_a_part_twice_is_422_and_no_run_is_made(bo, recording, session):
    setup = str(SetupFactory(bike=session.bike).pk)
    answer = bo.post(f"{recording}cut/", {"runs": [{"setup": setup, "lap": 1}, {"setup": setup}]})
    assert (answer.status_code, answer.json()["errors"][0]["key"]) == (422, "runs.1.from")
    assert not Run.objects.exists()


def test_what_is_not_read_yet_is_409(bo, session):
    path = send(bo, session, day=LAPS)["Location"]
    setup = str(SetupFactory(bike=session.bike).pk)
    assert bo.post(f"{path}cut/", {"runs": [{"setup": setup}]}).status_code == 409


def test_a_cut_that_is_refused_speaks_of_its_keys_as_the_body_has_them(bo, recording, session):
    setup = SetupFactory(bike=session.bike)
    cut = {"setup": str(setup.pk), "lap": 1, "from": "2026-05-09T08:00:00Z", "to": "2026-05-09T08:01:00Z"}
    problem = bo.post(f"{recording}cut/", {"runs": [cut]}).json()
    assert [error["key"] for error in problem["errors"]] == ["runs.0.lap, runs.0.to, runs.0.from"]
    assert "_at" not in problem["detail"]


def test_more_files_than_are_read_at_once_are_refused_with_how_many_may_come(bo, session):
    answer = send(bo, session, **{f"file{at}": b"time,power_w\n0,1\n" for at in range(101)})
    assert answer.status_code == 400
    (error,) = answer.json()["errors"]
    assert (error["given"], error["allowed"]) == ("more than 100", "at most 100 at once; send the rest after")
    assert not Recording.objects.exists()

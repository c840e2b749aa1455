"""The log's form: JSON lines with ids, and nothing of a person in them whatever goes wrong."""

import io
import json
import logging

import pytest

from analysis.jobs import runner
from analysis.results.models import Job
from studio.config.logs import REQUEST_HEADER, JsonLines
from studio.records.log_fields import current_log_fields, note_log_field
from tests.factories import FieldSessionFactory, JobFactory


@pytest.fixture
def lines():
    """What is logged, as the studio writes it."""
    written = io.StringIO()
    handler = logging.StreamHandler(written)
    handler.setFormatter(JsonLines())
    logging.getLogger().addHandler(handler)
    yield lambda: [json.loads(line) for line in written.getvalue().splitlines()]
    logging.getLogger().removeHandler(handler)


def test_a_request_has_an_id_in_its_answer_and_in_its_line(client, db, lines):
    answer = client.get("/sign-in/?next=/riders/bo/")
    (line,) = lines()
    assert line["request"] == answer[REQUEST_HEADER]
    assert (line["method"], line["route"], line["status"]) == ("GET", "sign-in/", 200)


def test_two_requests_have_two_ids_whatever_the_caller_sends(client, db):
    heads = [client.get("/live/", headers={"X-Request-ID": "bo@example.org"})[REQUEST_HEADER] for _ in range(2)]
    assert len(set(heads)) == 2
    assert "bo@example.org" not in heads


def test_health_answers_fill_no_log(client, db, lines):
    assert client.get("/live/").status_code == 200
    assert lines() == []


def test_an_unknown_path_is_not_quoted(client, db, lines):
    client.get("/riders/Bo-Example/")
    assert "Bo" not in json.dumps(lines())
    assert [(line["route"], line["status"]) for line in lines()] == [("", 404)]


def test_a_wrong_host_is_not_quoted(client, db, lines):
    assert client.get("/sign-in/", headers={"Host": "bo.example"}).status_code == 400
    assert "bo.example" not in json.dumps(lines())


def test_a_job_and_what_goes_wrong_in_it_have_its_id(studio, monkeypatch, lines):
    job = JobFactory(studio=studio, kind="analyse_session")

    def fail(attempt):
        raise ValueError("Bo Example, bo@example.org, ride.csv")

    monkeypatch.setattr(runner, "handler_of", lambda kind: fail)
    runner.run_next(worker="one")
    assert {(line["job"], line["kind"]) for line in lines()} == {(str(job.pk), "analyse_session")}
    assert [line["message"] for line in lines()] == ["job started", f"job {job.pk} failed", "job left"]
    assert lines()[1]["error"][0]["kind"] == "ValueError"
    assert "Bo" not in json.dumps(lines())
    assert lines()[2]["state"] == "failed"


def test_the_request_that_asked_for_a_job_names_it(lines, owner_ada, client):
    client.force_login(owner_ada)
    session = FieldSessionFactory(rider__studio=owner_ada.membership.studio)
    client.post(f"/sessions/{session.pk}/analyse/")
    assert [line["job"] for line in lines() if line["message"] == "answered"] == [str(Job.objects.get().pk)]


def test_what_no_request_has_bound_is_forgotten():
    note_log_field("job", "nobody's")
    assert current_log_fields() == {}

"""Refusals are problem documents (RFC 9457): one shape for every status, equal refusals in equal bytes, no leaks."""

import errno
import html
import json
import re

import pytest
from django.core.exceptions import SuspiciousOperation
from django.db import OperationalError
from drf_spectacular.generators import SchemaGenerator
from rest_framework import exceptions

from analysis.readers.faults import Fault, Refused
from studio.api import problems
from studio.records.errors import Conflict, RecordsError, StaleVersion, TooLarge, Unusable
from studio.records.problems import KINDS

FAULT = Fault(file="session.json", line=3, key="runs.1.setup", given="'C'", allowed="A or B")
EVERY_ERROR = [
    (problems.Malformed("m", (FAULT,)), 400),
    (exceptions.ParseError(), 400),
    (exceptions.ValidationError({"code": ["This field is required."]}), 400),
    (SuspiciousOperation("inside"), 400),
    (problems.UnreadablePostError(), 400),
    (exceptions.NotAuthenticated(), 401),
    (exceptions.AuthenticationFailed(), 401),
    (exceptions.PermissionDenied(), 403),
    (problems.PermissionDenied(), 403),
    (exceptions.NotFound(), 404),
    (problems.Http404(), 404),
    (exceptions.MethodNotAllowed("PUT"), 405),
    (exceptions.NotAcceptable(), 406),
    (Conflict("taken"), 409),
    (StaleVersion("changed"), 412),
    (TooLarge("big"), 413),
    (problems.RequestDataTooBig(), 413),
    (exceptions.UnsupportedMediaType("text/csv"), 415),
    (problems.WrongMediaType("not a zip", (FAULT,)), 415),
    (Unusable("no", faults=(FAULT,)), 422),
    (RecordsError("no"), 422),
    (Refused([FAULT]), 422),
    (problems.PreconditionMissing(), 428),
    (exceptions.Throttled(), 429),
    (problems.TooManyGuesses(9), 429),
    (RuntimeError("inside"), 500),
    (OSError(errno.EIO, "inside"), 500),
    (problems.TooManyStreams(), 503),
    (OperationalError("inside"), 503),
    (OSError(errno.ENOSPC, "inside"), 503),
]


@pytest.mark.parametrize(("error", "status"), EVERY_ERROR)
def test_every_error_becomes_one_problem_document(error, status):
    answer = problems.problem_response(error, {})
    kind = KINDS[answer.data["type"].split("/")[-2]]
    assert answer.status_code == answer.data["status"] == kind.status == status
    assert answer.content_type == "application/problem+json"
    assert answer.data["title"] == kind.title
    assert set(answer.data) <= {"type", "title", "status", "detail", "errors"}
    assert "inside" not in json.dumps(answer.data)


@pytest.mark.parametrize("error", [error for error, _ in EVERY_ERROR if getattr(error, "faults", ())])
def test_faults_stand_one_by_one(error):
    entry = {"file": "session.json", "line": 3, "key": "runs.1.setup", "given": "'C'", "allowed": "A or B"}
    assert problems.problem_response(error, {}).data["errors"] == [entry]


@pytest.mark.parametrize(
    "error", [problems.TooManyGuesses(9), problems.TooManyStreams(), OperationalError("x"), OSError(errno.ENOSPC, "x")]
)
def test_what_may_work_later_says_when(error):
    assert int(problems.problem_response(error, {})["Retry-After"]) > 0


def test_a_fault_of_ours_is_500_without_a_word_of_it_and_noted(api, fitter_bo, monkeypatch, caplog):
    def broken(*_, **__):
        raise RuntimeError("secret path and words")

    monkeypatch.setattr("studio.api.riders.RiderViewSet.record_create", broken)
    answer = api(fitter_bo).post("/api/v1/riders/", {"code": "R-1"})
    assert (answer.status_code, answer["Content-Type"]) == (500, "application/problem+json")
    assert b"secret" not in answer.content
    assert "secret path and words" in caplog.text


def test_nested_shape_faults_name_their_place_and_what_was_given(api, fitter_bo):
    body = {"weather": [{"time": "noon"}, {"time": "2026-05-09T08:00:00Z", "temperature_c": "warm"}]}
    answer = api(fitter_bo).patch("/api/v1/sessions/x/", body)
    assert answer.status_code == 404
    errors = api(fitter_bo).post("/api/v1/sessions/", body).json()["errors"]
    found = {error["key"]: error["given"] for error in errors}
    assert found["weather.0.time"] == "'noon'"
    assert found["weather.1.temperature_c"] == "'warm'"
    assert found["rider"] == "nothing"


@pytest.mark.parametrize(
    ("query", "allowed"),
    [
        (
            "instruments/?kind=harp",
            "one of: power_meter, air_speed_sensor, speed_sensor, barometer, thermometer, scale",
        ),
        ("jobs/?state=harp", "one of: queued, running, done, refused, failed"),
        ("runs/?session=harp", "an id, such as an answer gave"),
        ("sessions/?date=harp", "a day such as 2026-05-09"),
    ],
)
def test_a_query_that_cannot_be_used_says_what_it_was_and_what_is_allowed(api, fitter_bo, query, allowed):
    SchemaGenerator(api_version="v1").get_schema(public=True)  # reads the filters' fields, as /schema/ does
    (error,) = api(fitter_bo).get(f"/api/v1/{query}").json()["errors"]
    assert (error["given"], error["allowed"]) == ("'harp'", allowed)


def test_an_empty_text_in_a_query_asks_for_the_rows_that_have_none(api, fitter_bo):
    bo = api(fitter_bo)
    bo.post("/api/v1/riders/", {"code": "R-1"})
    assert bo.get("/api/v1/riders/?code=").json()["results"] == []


@pytest.mark.parametrize(
    ("route", "key", "allowed"),
    [
        ("instruments", "kind", "one of: power_meter, air_speed_sensor, speed_sensor, barometer, thermometer, scale"),
        ("consents", "purpose", "one of: records, pooled_results, contact, health_notes"),
        ("invitations", "role", "one of: fitter, client, shop"),
    ],
)
def test_a_word_that_is_none_of_a_few_is_told_those(api, owner_ada, route, key, allowed):
    errors = api(owner_ada).post(f"/api/v1/{route}/", {key: "harp"}).json()["errors"]
    assert [(error["given"], error["allowed"]) for error in errors if error["key"] == key] == [("'harp'", allowed)]


def test_a_body_that_is_a_list_is_told_that_it_is_one(api, fitter_bo):
    (error,) = api(fitter_bo).post("/api/v1/riders/", [1]).json()["errors"]
    assert error["given"] == "[1]"


@pytest.mark.parametrize(
    "number", ["NaN", "Infinity", "-Infinity", "1e999", '"NaN"', '"12"', "true", "1" + "0" * 400, "[1]"]
)
def test_what_is_no_finite_number_is_400(api, fitter_bo, number):
    body = '{"code": "R-1", "height_cm": ' + number + "}"
    answer = api(fitter_bo).post("/api/v1/riders/", body, content_type="application/json")
    assert answer.status_code == 400


@pytest.mark.parametrize("text", [r'"\u0000"', r'"\ud800"', "[" * 100_000, "\xff"])
def test_text_that_no_database_holds_is_400(api, fitter_bo, text):
    body = ('{"kind": "lap", "marks": [' + text + "]}").encode("latin-1")
    answer = api(fitter_bo).post("/api/v1/courses/", body, content_type="application/json")
    assert answer.status_code == 400


@pytest.mark.parametrize("body", ['{"code": "R-1", "code": "R-2"}', '{"code": "R-1", "x": [{"a": 1, "a": 1}]}'])
def test_a_key_that_stands_twice_is_400_since_nobody_knows_which_was_meant(api, fitter_bo, body):
    answer = api(fitter_bo).post("/api/v1/riders/", body, content_type="application/json")
    assert answer.status_code == 400
    assert "stands twice in one object" in answer.json()["detail"]


def test_a_backslash_before_u0000_is_just_text(api, fitter_bo):
    body = r'{"kind": "lap", "marks": ["\\u0000"]}'
    answer = api(fitter_bo).post("/api/v1/courses/", body, content_type="application/json")
    assert answer.json()["marks"] == [r"\u0000"]


def test_a_json_body_over_the_cap_is_413(api, fitter_bo, settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 1000
    answer = api(fitter_bo).post("/api/v1/riders/", {"code": "R-1", "contact": "x" * 1000})
    assert answer.status_code == 413


@pytest.mark.parametrize("path", ["", "riders", "riders/a/b/c/", "nope/"])
def test_an_address_without_a_route_is_a_problem_document(api, db, path):
    answer = api().get(f"/api/v1/{path}")
    assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")


def test_a_format_that_is_not_served_is_406(api, fitter_bo):
    answer = api(fitter_bo).get("/api/v1/riders/", HTTP_ACCEPT="text/turtle")
    assert (answer.status_code, answer["Content-Type"]) == (406, "application/problem+json")
    assert api(fitter_bo).get("/api/v1/riders/?format=xml").status_code == 400


@pytest.mark.parametrize("slug", KINDS)
def test_the_type_of_every_problem_leads_to_its_page(api, db, slug):
    page = api().get(KINDS[slug].type)
    assert (page.status_code, page["Content-Type"]) == (200, "text/html; charset=utf-8")
    words = page.content.decode()
    assert KINDS[slug].title in words
    assert str(KINDS[slug].status) in words
    assert KINDS[slug].remedy in html.unescape(words)
    example = json.loads(html.unescape(re.search(r"<pre>(.*?)</pre>", words, re.DOTALL)[1]))
    assert (example["type"], example["status"]) == (KINDS[slug].type, KINDS[slug].status)
    assert ("errors" in example) == bool(KINDS[slug].faults)


def test_a_problem_that_does_not_exist_is_404(api, db):
    assert api().get("/api/v1/docs/problems/no-such/").status_code == 404

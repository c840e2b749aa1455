"""The OpenAPI document: valid, complete, strict, and the one that is kept beside the tests."""

import json
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path

import pytest
from openapi_spec_validator import OpenAPIV31SpecValidator

from studio.api import docs
from studio.api.docs import openapi_document

KEPT = Path(__file__).parents[2] / "references" / "openapi.json"
REGENERATE = ".venv/bin/python manage.py spectacular --format openapi-json --file tests/references/openapi.json"


@pytest.fixture(scope="module")
def document():
    return json.loads(json.dumps(openapi_document()))


def operations(document):
    return [(path, method, said) for path, item in document["paths"].items() for method, said in item.items()]


def test_it_is_valid_openapi_3_1(document):
    assert document["openapi"].startswith("3.1")
    OpenAPIV31SpecValidator(document).validate()


def test_it_is_the_one_that_is_kept(document):
    assert document == json.loads(KEPT.read_text()), f"the API changed; if that was meant: {REGENERATE}"


def test_every_operation_answers_a_refusal_with_a_problem(document):
    for path, method, said in operations(document):
        assert said["responses"]["default"] == {"$ref": "#/components/responses/Problem"}, (path, method)
    content = document["components"]["responses"]["Problem"]["content"]
    assert content == {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}


def test_every_request_body_is_closed(document):
    bodies = [name for name in document["components"]["schemas"] if name.endswith("Request")]
    assert len(bodies) > 20
    assert [name for name in bodies if document["components"]["schemas"][name]["additionalProperties"]] == []


def test_every_change_of_a_record_takes_if_match(document):
    for path, method, said in operations(document):
        if method in {"put", "patch", "delete"} and "/tokens/" not in path:
            assert "If-Match" in [parameter["name"] for parameter in said["parameters"]], (path, method)


def test_every_operation_says_what_it_does(document):
    assert [(path, method) for path, method, said in operations(document) if len(said["description"]) < 15] == []


def test_it_is_served_to_everybody(api, db, document):
    answer = api().get("/api/v1/schema/")
    assert answer.status_code == 200
    assert answer.json() == document


def test_the_list_of_operations_stands_under_the_strict_policy(api, db, document):
    page = api().get("/api/v1/docs/", HTTP_ACCEPT="text/html,*/*;q=0.8")
    words = page.content.decode()
    assert page["Content-Type"].startswith("text/html")
    assert "default-src 'none'" in page["Content-Security-Policy"]
    assert not [inline for inline in ("<script", "<style", "style=") if inline in words]
    assert all(path in words for path in document["paths"])


def test_two_who_ask_for_it_first_at_once_both_get_it(monkeypatch):
    monkeypatch.setattr(docs, "_drawn", cache(docs._drawn.__wrapped__))
    with ThreadPoolExecutor(4) as pool:
        documents = list(pool.map(lambda _: docs.openapi_document(), range(4)))
    assert all(document is documents[0] for document in documents)

"""Whatever stands in a body or a query, the answer is a refusal in words or a record: never a fault of ours."""

import pytest

from tests.studio.api.rows import LISTED, RECORDS, body_for, make_rows

ODD = (
    None,
    10**30,
    1e308,
    "",
    "x" * 5000,
    "9999-12-31T23:59:60Z",
    "\u202e\U0001f6b2\ufeff",
    "00000000-0000-0000-0000-000000000000",
    [[[]]],
    {"a": {"b": [1, None]}},
)


@pytest.fixture
def rows(studio, client_cy):
    return make_rows(studio, client_cy)


@pytest.mark.parametrize("route", RECORDS)
def test_odd_values_in_a_body_are_no_fault_of_ours(api, fitter_bo, rows, route):
    bo, body = api(fitter_bo), body_for(route, rows)
    for key in body:
        for value in ODD:
            answer = bo.post(f"/api/v1/{route}/", body | {key: value})
            assert answer.status_code in {201, 400, 409, 422}, (key, value, answer.content)


@pytest.mark.parametrize("route", LISTED)
def test_odd_values_in_a_query_are_no_fault_of_ours(api, fitter_bo, route):
    bo = api(fitter_bo)
    keys = bo.get(f"/api/v1/{route}/?colour=1").json()["errors"][0]["allowed"].removeprefix("one of ").split(", ")
    for key in keys:
        for value in ("x" * 3000, "\0", "é", "2026-02-30"):
            answer = bo.get(f"/api/v1/{route}/", {key: value})
            assert answer.status_code in {200, 400}, (key, value, answer.content)

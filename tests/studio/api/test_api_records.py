"""The life of a record, the same for every route: made, read, changed under its ETag, removed; its shape checked."""

import pytest

from studio.records.models import Product
from tests.studio.api.rows import LISTED, RECORDS, body_for, make_rows, more_rows


@pytest.fixture
def rows(studio, client_cy):
    return make_rows(studio, client_cy)


@pytest.fixture
def bo(api, fitter_bo):
    return api(fitter_bo)


def made(bo, route, rows):
    answer = bo.post(f"/api/v1/{route}/", body_for(route, rows))
    assert answer.status_code == 201, answer.content
    return answer


@pytest.mark.parametrize("route", RECORDS)
def test_what_is_made_is_201_with_its_address_and_tag_and_says_what_was_said(bo, rows, route):
    answer = made(bo, route, rows)
    again = bo.get(answer["Location"])
    assert again.json() == answer.json()
    assert again["ETag"] == answer["ETag"] == f'"{answer.json()["id"]}.1"'
    said = body_for(route, rows)
    assert {key: answer.json()[key] for key in said} == said


@pytest.mark.parametrize("route", RECORDS)
def test_answers_are_private_and_kept_nowhere(bo, rows, route):
    for path in (f"/api/v1/{route}/", f"/api/v1/{route}/{rows[route].pk}/"):
        assert bo.get(path)["Cache-Control"] == "private, no-store"


@pytest.mark.parametrize("route", RECORDS)
def test_a_record_is_removed_once(bo, rows, route):
    answer = made(bo, route, rows)
    assert bo.delete(answer["Location"], HTTP_IF_MATCH=answer["ETag"]).status_code == 204
    assert bo.get(answer["Location"]).status_code == 404


@pytest.mark.parametrize("route", RECORDS)
def test_saying_the_same_again_by_put_changes_nothing_but_the_version(bo, rows, route):
    answer = made(bo, route, rows)
    again = bo.put(answer["Location"], body_for(route, rows), HTTP_IF_MATCH=answer["ETag"])
    assert again.status_code == 200, again.content
    assert again["ETag"] == f'"{answer.json()["id"]}.2"'
    assert {**again.json(), "updated_at": None} == {**answer.json(), "updated_at": None}


@pytest.mark.parametrize("route", RECORDS)
def test_an_unknown_key_is_400_and_the_allowed_ones_are_named(bo, rows, route):
    answer = bo.post(f"/api/v1/{route}/", {**body_for(route, rows), "colour": "red"})
    assert answer.status_code == 400
    (error,) = answer.json()["errors"]
    assert (error["key"], error["given"]) == ("colour", "'red'")
    assert all(key in error["allowed"] for key in body_for(route, rows))


@pytest.mark.parametrize("route", RECORDS)
def test_a_missing_field_is_400_and_named(bo, route):
    answer = bo.post(f"/api/v1/{route}/", {})
    assert answer.status_code == 400
    assert answer.json()["errors"]
    assert all(error["key"] and error["given"] == "nothing" for error in answer.json()["errors"])


@pytest.mark.parametrize("route", RECORDS)
def test_a_body_of_another_shape_is_400_and_a_form_415(bo, route):
    for body in ("[]", "3", '"text"', "null", "{", "", "NaN"):
        answer = bo.post(f"/api/v1/{route}/", body, content_type="application/json")
        assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json"), body
    assert bo.post(f"/api/v1/{route}/", {"code": "R-1"}, format="multipart").status_code == 415


@pytest.mark.parametrize("route", LISTED)
def test_an_unknown_query_key_is_400_and_the_allowed_ones_are_named(bo, route):
    answer = bo.get(f"/api/v1/{route}/?colour=red")
    assert answer.status_code == 400
    (error,) = answer.json()["errors"]
    assert error["key"] == "colour"
    assert "cursor" in error["allowed"]


def test_one_row_takes_no_query_keys(bo, rows):
    assert bo.get(f"/api/v1/riders/{rows['riders'].pk}/?cursor=1").status_code == 400


def test_an_address_that_is_no_id_is_404(bo, db):
    assert {bo.get(f"/api/v1/{route}/not-an-id/").status_code for route in LISTED} == {404}


@pytest.mark.parametrize("route", LISTED)
def test_a_list_costs_the_same_queries_for_3_rows_and_for_300(bo, rows, route, django_assert_num_queries):
    more_rows(route, rows, 2)
    bo.get("/api/v1/tokens/")  # the token's first use in a minute is written down
    with django_assert_num_queries(QUERIES.get(route, 2)):
        assert len(bo.get(f"/api/v1/{route}/").json()["results"]) >= 3
    more_rows(route, rows, 297)
    with django_assert_num_queries(QUERIES.get(route, 2)):
        assert len(bo.get(f"/api/v1/{route}/").json()["results"]) == 50


QUERIES = {"setups": 3, "sessions": 4}
"""The token with its account, and the page; the slots of setups; the setups and the instruments of sessions."""


def test_pages_by_cursor_show_every_row_once_newest_first(bo, rows):
    more_rows("products", rows, 119)
    seen, page = [], "/api/v1/products/"
    while page:
        answer = bo.get(page).json()
        seen += [row["id"] for row in answer["results"]]
        page = answer["next"]
    assert len(seen) == len(set(seen)) == 120
    assert seen == sorted(seen, reverse=True)


def test_pages_lead_back_the_way_they_came(bo, rows):
    more_rows("products", rows, 119)
    forth, page = [], "/api/v1/products/"
    while page:
        forth.append(bo.get(page).json())
        page = forth[-1]["next"]
    back, page = [forth[-1]["results"]], forth[-1]["previous"]
    while page:
        answer = bo.get(page).json()
        back.append(answer["results"])
        page = answer["previous"]
    assert back == [answer["results"] for answer in reversed(forth)]


def test_a_page_of_a_row_that_has_gone_still_leads_on(bo, rows):
    more_rows("products", rows, 59)
    cursor = bo.get("/api/v1/products/").json()["next"].partition("after-")[2]
    Product.objects.filter(pk=cursor).delete()
    assert len(bo.get(f"/api/v1/products/?cursor=after-{cursor}").json()["results"]) == 10
    assert bo.get("/api/v1/products/?cursor=after-00000000-0000-7000-8000-000000000000").json()["results"] == []


def test_a_whole_number_may_be_written_with_a_point(bo):
    answer = bo.post("/api/v1/riders/", {"code": "R-77", "birth_year": 1990.0})
    assert (answer.status_code, answer.json()["birth_year"]) == (201, 1990)
    assert bo.post("/api/v1/riders/", {"code": "R-78", "birth_year": 1990.5}).status_code == 400


@pytest.mark.parametrize("method", ["QUERY", "TRACE", "OPTIONS", "PROPFIND"])
def test_a_method_that_nobody_has_is_405_whatever_else_is_wrong(bo, method):
    assert bo.generic(method, "/api/v1/riders/?nonsense=1").status_code == 405


@pytest.mark.parametrize("cursor", ["", "x", "cD1ub3QtYW4taWQ=", "after-1", "beside", "AFTER"])
def test_a_cursor_that_no_answer_gave_is_400(bo, rows, cursor):
    answer = bo.get(f"/api/v1/riders/?cursor={cursor}")
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["key"] == "cursor"


FILTERS = [
    ("riders", "code", lambda row: row.code),
    ("bikes", "rider", lambda row: row.rider_id),
    ("products", "category", lambda row: row.category),
    ("products", "name", lambda row: row.name),
    ("equipment-items", "product", lambda row: row.product_id),
    ("mountings", "bike", lambda row: row.bike_id),
    ("positions", "bike", lambda row: row.bike_id),
    ("setups", "bike", lambda row: row.bike_id),
    ("courses", "kind", lambda row: row.kind),
    ("instruments", "kind", lambda row: row.kind),
    ("calibrations", "instrument", lambda row: row.instrument_id),
    ("corrections", "session", lambda row: row.session_key),
    ("corrections", "kind", lambda row: row.kind),
    ("sessions", "rider", lambda row: row.rider_id),
    ("sessions", "date", lambda row: row.date),
    ("runs", "session", lambda row: row.session_id),
    ("recordings", "session", lambda row: row.session_id),
    ("jobs", "state", lambda row: row.state),
    ("analyses", "session", lambda row: row.session_id),
    ("reports", "session", lambda row: row.analysis.session_id),
]


@pytest.mark.parametrize(("route", "key", "value_of"), FILTERS)
def test_a_filter_keeps_the_rows_that_have_its_value(bo, rows, route, key, value_of):
    shown = bo.get(f"/api/v1/{route}/", {key: value_of(rows[route])}).json()["results"]
    assert str(rows[route].pk) in [row["id"] for row in shown]


@pytest.mark.parametrize(("route", "key"), [(route, key) for route, key, _ in FILTERS if key in {"rider", "session"}])
def test_a_filter_leaves_the_rows_of_others_out(bo, rows, studio, route, key):
    others = make_rows(studio, None)
    shown = bo.get(f"/api/v1/{route}/", {key: others[f"{key}s"].pk}).json()["results"]
    assert [row["id"] for row in shown] == [str(others[route].pk)]


@pytest.mark.parametrize("query", ["kind=loop", "kind="])
def test_a_filter_value_of_another_shape(bo, rows, query):
    assert bo.get(f"/api/v1/courses/?{query}").status_code == 400
    assert bo.get("/api/v1/bikes/?rider=not-an-id").status_code == 400


@pytest.mark.parametrize("route", [*LISTED, "tokens"])
def test_a_list_shows_each_row_as_its_own_address_does(bo, rows, route):
    """Lists are made from columns (`rows.py`), single rows by their serializer: one answer."""
    if route not in {"analyses", "tokens"}:
        more_rows(route, rows, 2)
    if route in RECORDS:
        made(bo, route, rows)
    listed = bo.get(f"/api/v1/{route}/").json()["results"]
    single = [bo.get(f"/api/v1/{route}/{row['id']}/").json() for row in listed]
    assert listed == [
        {key: value for key, value in row.items() if key != "result" or route != "analyses"} for row in single
    ]

"""Guessing passwords has an end: RateLimit fields, 429 with Retry-After; the same count behind every door.

Fields by draft-ietf-httpapi-ratelimit-headers-10: `"name";q=quota;w=window` and `"name";r=left;t=seconds`.
"""

import re
from datetime import timedelta

import pytest
import time_machine

from studio.records.sign_in import QUOTA
from tests.factories import PASSWORD

TOKENS = "/api/v1/tokens/"
POLICY = '"sign-in";q=10;w=300'


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel("2026-05-09T08:00:00Z", tick=False) as clock:
        yield clock


def ask(api, password="wrong", username="bo", **options):
    return api().post(TOKENS, {"username": username, "password": password}, **options)


def spend(api):
    return [ask(api) for _ in range(QUOTA)]


def test_each_wrong_pair_takes_one_and_says_how_many_are_left(api, fitter_bo):
    answers = spend(api)
    assert {answer.status_code for answer in answers} == {401}
    assert {answer["RateLimit-Policy"] for answer in answers} == {POLICY}
    assert [answer["RateLimit"] for answer in answers] == [f'"sign-in";r={left};t=300' for left in range(9, -1, -1)]


def test_the_next_is_429_even_with_the_right_password_until_the_window_ends(api, fitter_bo, clock):
    spend(api)
    clock.shift(timedelta(seconds=200))
    answer = ask(api, PASSWORD)
    assert (answer.status_code, answer["Retry-After"], answer["RateLimit"]) == (429, "100", '"sign-in";r=0;t=100')
    assert answer.json()["type"] == "/api/v1/docs/problems/too-many/"
    clock.shift(timedelta(seconds=100))
    assert ask(api, PASSWORD).status_code == 201


def test_right_pairs_take_nothing(api, fitter_bo):
    answers = [ask(api, PASSWORD) for _ in range(QUOTA + 2)]
    assert {(answer.status_code, answer["RateLimit"]) for answer in answers} == {(201, '"sign-in";r=10;t=300')}


def test_another_name_and_another_address_have_their_own_count(api, fitter_bo, owner_ada):
    spend(api)
    assert ask(api, PASSWORD, username="ada").status_code == 201
    assert ask(api, PASSWORD, REMOTE_ADDR="192.0.2.7").status_code == 201
    assert ask(api, username="BO").status_code == 429


def test_a_name_that_nobody_has_is_counted_the_same(api, db):
    assert {ask(api, username="nobody").status_code for _ in range(QUOTA)} == {401}
    assert ask(api, username="nobody").status_code == 429


def test_the_page_and_the_admin_count_with_it(api, client, owner_ada):
    for _ in range(QUOTA // 2):
        client.post("/sign-in/", {"username": "ada", "password": "wrong"})
        client.post("/admin/login/", {"username": "ada", "password": "wrong"})
    assert ask(api, PASSWORD, username="ada").status_code == 429
    page = client.post("/sign-in/", {"username": "ada", "password": PASSWORD}).content.decode()
    assert re.search(r"Too many wrong passwords for this name\. Try again in \d+ seconds", page)
    assert client.get("/admin/").status_code == 302


def test_other_routes_bear_no_limit(api, fitter_bo):
    assert "RateLimit" not in api(fitter_bo).get("/api/v1/riders/")

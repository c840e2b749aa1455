"""Tokens: a pair becomes a Bearer token, shown once; one's own can be listed and revoked."""

from datetime import timedelta

import pytest
import time_machine

from studio.records.models import ApiToken
from studio.records.services.tokens import token_create
from tests.factories import PASSWORD, UserFactory

TOKENS = "/api/v1/tokens/"


@pytest.mark.parametrize("who", ["owner_ada", "fitter_bo", "client_cy", "shop_dee"])
def test_every_role_gets_a_token_for_its_pair(api, request, who):
    person = request.getfixturevalue(who)
    answer = api().post(TOKENS, {"username": person.username, "password": PASSWORD})
    assert answer.status_code == 201
    assert answer["Location"] == f"/api/v1/tokens/{answer.json()['id']}/"
    assert answer["Cache-Control"] == "private, no-store"
    signed_in = api()
    signed_in.credentials(HTTP_AUTHORIZATION=f"Bearer {answer.json()['token']}")
    assert signed_in.get(TOKENS).status_code == 200


def test_the_clear_token_is_never_shown_again_nor_kept(api, fitter_bo):
    made = api().post(TOKENS, {"username": "bo", "password": PASSWORD}).json()
    listed = api(fitter_bo).get(TOKENS)
    assert made["token"].encode() not in listed.content
    assert not ApiToken.objects.filter(sha256=made["token"]).exists()


@pytest.mark.parametrize("pair", [("bo", "not-this-one"), ("nobody-here", PASSWORD), ("BO", PASSWORD)])
def test_a_wrong_pair_is_401_in_the_same_bytes(api, fitter_bo, pair):
    known = api().post(TOKENS, {"username": "bo", "password": "wrong"})
    answer = api().post(TOKENS, {"username": pair[0], "password": pair[1]})
    assert answer.status_code == 401
    assert answer["WWW-Authenticate"].startswith("Bearer")
    assert answer.content == known.content


def test_an_unknown_name_costs_as_many_password_hashes_as_a_known_one(api, fitter_bo, monkeypatch):
    hashed = []
    monkeypatch.setattr(
        "django.contrib.auth.hashers.MD5PasswordHasher.encode", lambda self, *pair: hashed.append(pair) or "x"
    )
    api().post(TOKENS, {"username": "bo", "password": "wrong"})
    known = len(hashed)
    api().post(TOKENS, {"username": "nobody-here", "password": "wrong"})
    assert known > 0
    assert len(hashed) == 2 * known


def test_an_account_without_a_studio_gets_no_token(api, db):
    UserFactory(username="stray")
    assert api().post(TOKENS, {"username": "stray", "password": PASSWORD}).status_code == 401


def test_a_missing_password_is_400_and_named(api, db):
    answer = api().post(TOKENS, {"username": "bo"})
    assert answer.status_code == 400
    assert [error["key"] for error in answer.json()["errors"]] == ["password"]


def test_a_refusal_never_quotes_the_password(api, db):
    answer = api().post(TOKENS, {"username": "bo", "password": ["secret-words"]})
    assert answer.status_code == 400
    assert b"secret-words" not in answer.content


def test_one_sees_and_revokes_only_own_tokens(api, fitter_bo, owner_ada):
    foreign, _ = token_create(user=owner_ada)
    client = api(fitter_bo)
    own = client.get(TOKENS).json()["results"]
    assert len(own) == 1
    assert client.delete(f"{TOKENS}{foreign.pk}/").status_code == 404
    assert client.delete(f"{TOKENS}{own[0]['id']}/").status_code == 204
    assert client.get(TOKENS).status_code == 401


@pytest.mark.parametrize("sent", ["wl_api_x", "Ω", "", "wl_api_" + "0" * 38])
def test_a_bad_token_is_401_and_says_how_to_get_one(api, db, sent):
    client = api()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {sent}".encode())
    answer = client.get("/api/v1/riders/")
    assert answer.status_code == 401
    assert answer["WWW-Authenticate"] == 'Bearer realm="studio"'
    assert answer.json()["type"] == "/api/v1/docs/problems/sign-in/"


def signed_in(api, **fields):
    client = api()
    token = client.post(TOKENS, {"username": "bo", "password": PASSWORD, **fields}).json()["token"]
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return client


@pytest.mark.parametrize(
    ("scopes", "statuses"),
    [
        (["read"], {"riders": 200, "reports": 200, "POST riders": 403, "schema": 200}),
        (["write"], {"riders": 403, "reports": 403, "POST riders": 201, "schema": 200}),
        (["reports"], {"riders": 403, "reports": 200, "POST riders": 403, "POST reports": 403, "schema": 200}),
        (["read", "write"], {"riders": 200, "reports": 200, "POST riders": 201}),
    ],
)
def test_a_token_may_what_its_scopes_say(api, fitter_bo, scopes, statuses):
    client = signed_in(api, scopes=scopes)
    for words, status in statuses.items():
        method, _, route = words.rpartition(" ")
        send = client.post if method else client.get
        assert send(f"/api/v1/{route}/", {"code": "R-9"} if method else None).status_code == status, words


def test_a_refused_scope_says_which_one_it_takes(api, fitter_bo):
    answer = signed_in(api, scopes=["reports"]).get("/api/v1/riders/")
    assert answer.json()["detail"] == "This token's scope is reports; here it needs read."


def test_a_token_lives_as_long_as_was_asked_and_no_longer(api, fitter_bo):
    with time_machine.travel("2026-05-09T08:00:00Z", tick=False) as clock:
        client = signed_in(api, lifetime_days=2)
        assert client.get(TOKENS).json()["results"][0]["expires_at"] == "2026-05-11T08:00:00Z"
        clock.shift(timedelta(days=2))
        assert client.get(TOKENS).status_code == 401


def test_one_sees_when_a_token_was_last_used(api, fitter_bo):
    client = signed_in(api, name="logger")
    said = client.get(TOKENS).json()["results"][0]
    assert (said["name"], said["kind"], said["scopes"]) == ("logger", "api", ["read", "write"])
    assert said["last_used_at"] is not None


@pytest.mark.parametrize(
    ("wrong", "status"),
    [
        ({"scopes": ["everything"]}, 400),
        ({"scopes": []}, 400),
        ({"kind": "door"}, 400),
        ({"lifetime_days": 0}, 400),
        ({"lifetime_days": 366}, 400),
        ({"kind": "metrics", "scopes": ["read"]}, 422),
    ],
)
def test_a_token_that_cannot_be_is_refused_and_named(api, fitter_bo, wrong, status):
    answer = api().post(TOKENS, {"username": "bo", "password": PASSWORD, **wrong})
    assert answer.status_code == status
    assert [error["key"].partition(".")[0] for error in answer.json()["errors"]] == [list(wrong)[-1]]


def test_a_metrics_token_opens_the_metrics_and_nothing_else(api, owner_ada):
    clear = token_create(user=owner_ada, kind="metrics")[1]
    client = api()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {clear}")
    assert client.get("/metrics/").status_code == 200
    assert client.get(TOKENS).status_code == 401


def test_the_metrics_need_the_scope_read(api, owner_ada):
    client = api()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token_create(user=owner_ada, scopes=['write'])[1]}")
    assert client.get("/metrics/").status_code == 401

"""Tokens: a pair becomes a Bearer token, shown once; one's own can be listed and revoked."""

import pytest

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

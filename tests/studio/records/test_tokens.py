"""Bearer tokens: their form, whose they are, and when they no longer count."""

import re
import zlib
from datetime import timedelta

import pytest

from studio.records.models import ApiToken, Event
from studio.records.services.tokens import token_create, token_revoke, token_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def made(fitter_bo):
    return token_create(user=fitter_bo, name="laptop")


def test_token_has_the_agreed_form(made):
    _, clear = made
    assert re.fullmatch(r"wl_api_[0-9A-Za-z]{30}[0-9a-f]{8}", clear)
    assert int(clear[-8:], 16) == zlib.crc32(clear[:-8].encode())


def test_token_is_its_users(made, fitter_bo, django_assert_num_queries):
    with django_assert_num_queries(1):
        user = token_user(made[1])
        assert (user, user.membership.studio.name) == (fitter_bo, "Leeward Studio")


def test_clear_text_is_kept_nowhere(made):
    token, clear = made
    secret = clear[7:37]
    stored = [str(value) for value in ApiToken.objects.values().get(pk=token.pk).values()]
    noted = [str(value) for event in Event.objects.values() for value in event.values()]
    assert not any(secret in value for value in stored + noted)


@pytest.mark.parametrize(
    "broken", ["", "wl_api_", "Bearer", "wl_api_" + "a" * 38, "wl_api_" + "é" * 30 + "0" * 8, "\0" * 45]
)
def test_mistyped_token_costs_no_query(broken, django_assert_num_queries):
    with django_assert_num_queries(0):
        assert token_user(broken) is None


def test_unknown_token_is_nobodys(made):
    ApiToken.objects.all().delete()
    assert token_user(made[1]) is None


def test_expired_token_is_nobodys(fitter_bo):
    _, clear = token_create(user=fitter_bo, lifetime=timedelta(seconds=-1))
    assert token_user(clear) is None


def test_revoked_token_is_nobodys(made):
    token, clear = made
    token_revoke(token=token)
    token_revoke(token=token)
    assert token_user(clear) is None
    assert Event.objects.filter(verb="revoked").count() == 1


def test_token_of_a_closed_account_is_nobodys(made, fitter_bo):
    fitter_bo.is_active = False
    fitter_bo.save()
    assert token_user(made[1]) is None

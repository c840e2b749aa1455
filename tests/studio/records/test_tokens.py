"""Bearer tokens: their form, whose they are, and when they no longer count."""

import re
import zlib
from datetime import timedelta

import pytest
import time_machine
from django.db import OperationalError
from django.db.models import QuerySet

from studio.records.errors import Unusable
from studio.records.models import ApiToken, Event
from studio.records.services.tokens import token_create, token_in_force, token_revoke

pytestmark = pytest.mark.django_db


@pytest.fixture
def made(fitter_bo):
    return token_create(user=fitter_bo, name="laptop")


def test_token_has_the_agreed_form(made):
    _, clear = made
    assert re.fullmatch(r"wl_api_[0-9A-Za-z]{30}[0-9a-f]{8}", clear)
    assert int(clear[-8:], 16) == zlib.crc32(clear[:-8].encode())


def test_token_is_its_users_and_costs_one_query(made, fitter_bo, django_assert_num_queries):
    token_in_force(made[1])  # the first use in a minute is noted
    with django_assert_num_queries(1):
        user = token_in_force(made[1]).user
        assert (user, user.membership.studio.name) == (fitter_bo, "Leeward Studio")


def test_its_use_is_written_down_at_most_once_a_minute(made):
    token, clear = made
    seen = []
    with time_machine.travel(token.created_at, tick=False) as clock:
        for seconds in (0, 59, 2, 30):
            clock.shift(seconds)
            token_in_force(clear)
            token.refresh_from_db()
            seen.append((token.last_used_at - token.created_at).total_seconds())
    assert seen == [0, 0, 61, 61]


def test_a_database_that_takes_no_write_does_not_refuse_the_token(made, monkeypatch):
    def busy(*_, **__):
        raise OperationalError("database is locked")

    monkeypatch.setattr(QuerySet, "update", busy)
    assert token_in_force(made[1]) == made[0]


def test_a_kind_opens_only_its_own_door(fitter_bo, made):
    token, clear = token_create(user=fitter_bo, kind="metrics")
    assert clear.startswith("wl_metrics_")
    assert token.scopes == []
    assert token_in_force(clear) is None
    assert token_in_force(clear, kinds=["metrics"]) == token
    assert token_in_force(made[1], kinds=["metrics"]) is None


def test_scopes_are_kept_once_and_in_order(fitter_bo, made):
    assert made[0].scopes == ["read", "write"]
    assert token_create(user=fitter_bo, scopes=["reports", "read", "read"])[0].scopes == ["read", "reports"]
    with pytest.raises(Unusable, match="Only tokens for the API have scopes"):
        token_create(user=fitter_bo, kind="metrics", scopes=["read"])


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
        assert token_in_force(broken) is None


def test_unknown_token_is_nobodys(made):
    ApiToken.objects.all().delete()
    assert token_in_force(made[1]) is None


def test_expired_token_is_nobodys(fitter_bo):
    _, clear = token_create(user=fitter_bo, lifetime=timedelta(seconds=-1))
    assert token_in_force(clear) is None


def test_revoked_token_is_nobodys(made):
    token, clear = made
    token_revoke(token=token)
    token_revoke(token=token)
    assert token_in_force(clear) is None
    assert Event.objects.filter(verb="revoked").count() == 1


def test_token_of_a_closed_account_is_nobodys(made, fitter_bo):
    fitter_bo.is_active = False
    fitter_bo.save()
    assert token_in_force(made[1]) is None

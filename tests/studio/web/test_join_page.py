"""Coming in by a one-time link."""

import pytest

from studio.records.models import Role, User
from studio.records.services.invitations import invitation_create
from tests.factories import PASSWORD, RiderFactory

FORM = {"username": "fay", "password": PASSWORD, "again": PASSWORD}


@pytest.fixture
def link(studio, owner_ada):
    def made(**asked):
        return f"/join/{invitation_create(studio=studio, by=owner_ada, **asked)[1]}/"

    return made


def test_it_says_whose_link_it_is_and_looking_uses_nothing_up(link, page, studio):
    address = link(role=Role.CLIENT, rider=RiderFactory(studio=studio, code="R-7"))
    for _ in range(2):
        assert "Leeward Studio invites you as a client, for the tests of rider R-7" in page(None, address).text


def test_who_came_in_is_signed_in_and_the_link_is_dead(link, browser):
    client, address = browser(), link(role=Role.FITTER)
    assert client.post(address, FORM).url == "/"
    assert "Sign out fay" in " ".join(client.get("/account/").content.decode().split()).replace(
        '<span class="who">', ""
    )
    dead = browser().get(address)
    assert (dead.status_code, b"opens nothing" in dead.content) == (404, True)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"username": "bo"}, "A user with that username already exists"),
        ({"again": "other"}, "The two passwords differ"),
        ({"password": "short", "again": "short"}, "too short"),
        ({"username": ""}, "This field is required"),
    ],
)
def test_a_refusal_is_told_at_the_form_and_the_link_still_holds(link, browser, fitter_bo, wrong, words):
    address = link(role=Role.SHOP)
    refused = browser().post(address, FORM | wrong)
    assert (refused.status_code, words in refused.content.decode()) == (400, True)
    assert browser().post(address, FORM).status_code == 302


def test_a_new_password_by_link_asks_for_nothing_else(link, browser, fitter_bo):
    address = link(membership=fitter_bo.membership)
    assert b"username" not in browser().get(address).content.split(b"<main")[1].replace(b'autocomplete="username"', b"")
    browser().post(address, {"password": "another-long-secret", "again": "another-long-secret"})
    assert User.objects.get(pk=fitter_bo.pk).check_password("another-long-secret")


def test_who_is_signed_in_already_is_warned(link, browser, client_cy):
    assert b"You are signed in as cy" in browser(client_cy).get(link(role=Role.FITTER)).content

"""The owner's page of people."""

import re

import pytest

from studio.records.models import Membership
from studio.records.services.invitations import invitation_create, invitation_of
from tests.factories import PASSWORD, MembershipFactory, RiderFactory


@pytest.fixture
def ada(browser, owner_ada):
    return browser(owner_ada)


def key_in(answer):
    return re.search(r'value="[^"]*/join/([^/"]+)/"', answer.content.decode())[1]


def test_a_link_is_shown_to_copy_once_and_lets_somebody_in(ada, browser, studio):
    made = ada.post("/people/", {"role": "fitter", "name": "the new one"})
    key = key_in(made)
    later = ada.get("/people/").content.decode()
    assert (key in later, "for the new one" in later) == (False, True)
    browser().post(f"/join/{key}/", {"username": "fay", "password": PASSWORD, "again": PASSWORD})
    assert Membership.objects.get(user__username="fay").role == "fitter"


def test_a_link_is_taken_back(ada, studio, owner_ada):
    invitation, key = invitation_create(studio=studio, by=owner_ada, role="shop")
    ada.post(f"/people/links/{invitation.pk}/take-back/")
    assert invitation_of(key) is None


def test_a_refused_link_says_why(ada, studio):
    refused = ada.post("/people/", {"role": "fitter", "rider": RiderFactory(studio=studio).pk})
    assert (refused.status_code, b"Only a client&#x27;s invitation names a rider" in refused.content) == (400, True)


def test_roles_and_riders_are_changed_and_a_stale_form_is_told(ada, studio, client_cy):
    cy, rider = client_cy.membership, RiderFactory(studio=studio)
    form = {"role": "client", "rider": rider.pk, "version": cy.version}
    assert ada.post(f"/people/{cy.pk}/", form).url == "/people/"
    rider.refresh_from_db()
    assert rider.user == client_cy
    stale = ada.post(f"/people/{cy.pk}/", form | {"role": "shop", "rider": ""})
    assert (stale.status_code, b"changed or deleted since it was read" in stale.content) == (400, True)


def test_removing_needs_the_tick_and_another_owner(ada, owner_ada, fitter_bo):
    bo = fitter_bo.membership
    assert ada.post(f"/people/{bo.pk}/remove/").status_code == 400
    assert ada.post(f"/people/{bo.pk}/remove/", {"sure": "yes"}).url == "/people/"
    refused = ada.post(f"/people/{owner_ada.membership.pk}/remove/", {"sure": "yes"})
    assert (refused.status_code, b"last owner" in refused.content) == (400, True)
    assert "bo" not in re.findall(r">(\w+)</a></th>", ada.get("/people/").content.decode())


def test_a_lost_password_is_set_anew_by_a_link(ada, fitter_bo):
    key = key_in(ada.post(f"/people/{fitter_bo.membership.pk}/password-link/"))
    assert invitation_of(key).user == fitter_bo


@pytest.mark.parametrize("who", ["fitter_bo", "client_cy", "outsider_flo"])
def test_nobody_else_does_any_of_it(browser, request, who, owner_ada, studio):
    client, member = browser(request.getfixturevalue(who)), owner_ada.membership
    invitation, key = invitation_create(studio=studio, by=owner_ada, role="shop")
    paths = [f"/people/{member.pk}/", f"/people/{member.pk}/remove/", f"/people/{member.pk}/password-link/"]
    paths += [f"/people/links/{invitation.pk}/take-back/"]
    for path in paths:
        answer = client.post(path, {"sure": "yes", "role": "shop", "version": 1})
        assert answer.status_code == (404 if who == "outsider_flo" else 403), path
    assert invitation_of(key) is not None


def test_the_list_costs_the_same_queries_for_3_and_for_25(ada, studio, django_assert_max_num_queries):
    MembershipFactory.create_batch(2, studio=studio)
    with django_assert_max_num_queries(20) as few:
        ada.get("/people/")
    MembershipFactory.create_batch(22, studio=studio)
    with django_assert_max_num_queries(len(few.captured_queries)):
        ada.get("/people/")


def test_signing_out_everywhere_from_the_account_page(browser, fitter_bo):
    here, there = browser(fitter_bo), browser(fitter_bo)
    assert here.post("/account/sign-out-everywhere/").url == "/sign-in/"
    assert [client.get("/sessions/").status_code for client in (here, there)] == [302, 302]

"""Who belongs to the studio, by API: inviting, coming in, roles, removing, one's own password and signing out."""

from datetime import timedelta

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from studio.records.models import Event, Invitation, KeptAnswer, Membership, Rider, Role, User
from studio.records.services.events import chain_faults
from tests.factories import PASSWORD, MembershipFactory, RiderFactory

INVITATIONS, JOIN, MEMBERS, USERS = "/api/v1/invitations/", "/api/v1/join/", "/api/v1/memberships/", "/api/v1/users/"
NEW = "another-long-secret-of-mine"

pytestmark = pytest.mark.django_db


@pytest.fixture
def ada(api, owner_ada):
    return api(owner_ada)


def invited(client, **body):
    answer = client.post(INVITATIONS, body)
    assert answer.status_code == 201, answer.content
    return answer.json()


def joined(api, key, username="fay", **more):
    return api().post(JOIN, {"key": key, "username": username, "password": PASSWORD, **more})


def change(client, row, **body):
    path = f"{MEMBERS}{row.pk}/"
    return client.patch(path, body, HTTP_IF_MATCH=client.get(path)["ETag"])


def remove(client, row):
    path = f"{MEMBERS}{row.pk}/"
    return client.delete(path, HTTP_IF_MATCH=client.get(path)["ETag"])


@pytest.mark.parametrize("role", ["fitter", "client", "shop"])
def test_an_invited_person_comes_in_with_the_role_and_can_sign_in(api, ada, studio, role):
    made = invited(ada, role=role, name="the new one")
    assert made["link"] == f"http://127.0.0.1:8000/join/{made['key']}/"
    answer = joined(api, made["key"], email="fay@studio.example")
    assert (answer.status_code, answer.json()["role"]) == (201, role)
    assert Membership.objects.get(user__username="fay").studio == studio
    assert api().post("/api/v1/tokens/", {"username": "fay", "password": PASSWORD}).status_code == 201


def test_a_link_opens_once(api, ada):
    key = invited(ada, role="fitter")["key"]
    joined(api, key)
    again = joined(api, key, "gil")
    assert again.status_code == 422
    assert again.json()["errors"][0]["key"] == "key"
    assert not User.objects.filter(username="gil").exists()


def test_a_link_is_over_after_its_time_and_leaves_the_list(api, ada):
    key = invited(ada, role="fitter")["key"]
    Invitation.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    assert joined(api, key).status_code == 422
    assert ada.get(INVITATIONS).json()["results"] == []


def test_a_link_that_was_taken_back_opens_nothing(api, ada):
    made = invited(ada, role="fitter")
    path = f"{INVITATIONS}{made['id']}/"
    assert ada.delete(path).status_code == 428
    assert ada.delete(path, HTTP_IF_MATCH=ada.get(path)["ETag"]).status_code == 204
    assert joined(api, made["key"]).status_code == 422


def test_the_key_is_shown_once_and_kept_nowhere(ada):
    key = invited(ada, role="fitter")["key"]
    assert key.encode() not in ada.get(INVITATIONS).content
    assert key not in str([*Invitation.objects.values(), *Event.objects.values()])
    assert len(key) >= 43  # 256 random bits in base 64


def test_no_secret_is_kept_under_an_idempotency_key(api, ada, fitter_bo):
    with_key = {"HTTP_IDEMPOTENCY_KEY": "again"}
    ada.post(INVITATIONS, {"role": "fitter"}, **with_key)
    given = {"old_password": PASSWORD, "new_password": NEW}
    api(fitter_bo).post(f"{USERS}{fitter_bo.pk}/password/", given, **with_key)
    assert not KeptAnswer.objects.exists()


def test_a_refused_name_or_password_leaves_the_link_as_it_was(api, ada, fitter_bo):
    key = invited(ada, role="fitter")["key"]
    assert joined(api, key, "bo").status_code == 409
    weak = api().post(JOIN, {"key": key, "username": "fay", "password": "short"})
    assert (weak.status_code, weak.json()["errors"][0]["key"]) == (422, "password")
    assert b"short" not in weak.content.replace(b"too short", b"")
    assert joined(api, key).status_code == 201


@pytest.mark.parametrize("role", ["owner", "king", None])
def test_nobody_is_invited_as_an_owner_or_as_nothing(ada, role):
    answer = ada.post(INVITATIONS, {"role": role} if role else {})
    assert answer.status_code in {400, 422}
    assert answer.json()["errors"][0]["key"] == "role"


def test_a_client_is_invited_for_a_rider_and_sees_them(api, ada, studio):
    rider = RiderFactory(studio=studio)
    assert joined(api, invited(ada, role="client", rider=str(rider.pk))["key"]).json()["rider"] == str(rider.pk)
    shown = api(User.objects.get(username="fay")).get("/api/v1/riders/").json()["results"]
    assert [row["id"] for row in shown] == [str(rider.pk)]


def test_a_rider_is_a_free_clients_of_this_studio(api, ada, studio, rider_cy):
    foreign, free = RiderFactory(), RiderFactory(studio=studio)
    for role, rider in (("client", rider_cy), ("client", foreign), ("fitter", free)):
        assert ada.post(INVITATIONS, {"role": role, "rider": str(rider.pk)}).status_code == 422


def test_a_role_changes_with_the_next_request(api, ada, fitter_bo):
    bo = api(fitter_bo)
    assert bo.get("/api/v1/sessions/").status_code == 200
    assert change(ada, fitter_bo.membership, role="shop").json()["role"] == "shop"
    assert bo.get("/api/v1/sessions/").status_code == 403
    assert change(ada, fitter_bo.membership, role="owner").status_code == 200
    assert bo.get(MEMBERS).status_code == 200


def test_a_stale_change_of_a_role_is_412(api, ada, fitter_bo):
    path = f"{MEMBERS}{fitter_bo.membership.pk}/"
    tag = ada.get(path)["ETag"]
    ada.patch(path, {"role": "shop"}, HTTP_IF_MATCH=tag)
    assert ada.patch(path, {"role": "owner"}, HTTP_IF_MATCH=tag).status_code == 412
    assert Membership.objects.get(pk=fitter_bo.membership.pk).role == "shop"


def test_a_removed_member_is_nobody_from_the_next_request_on(api, ada, fitter_bo):
    bo, browser = api(fitter_bo), APIClient()
    browser.force_login(fitter_bo)
    assert remove(ada, fitter_bo.membership).status_code == 204
    assert [bo.get("/api/v1/sessions/").status_code, browser.get("/api/v1/sessions/").status_code] == [401, 401]
    assert api().post("/api/v1/tokens/", {"username": "bo", "password": PASSWORD}).status_code == 401
    assert ada.get(f"{MEMBERS}{fitter_bo.membership.pk}/").status_code == 404
    assert [row["username"] for row in ada.get(USERS).json()["results"]] == ["ada"]


def test_a_removed_clients_rider_is_free_again(api, ada, rider_cy):
    remove(ada, rider_cy.user.membership)
    assert Rider.objects.get(pk=rider_cy.pk).user is None
    assert joined(api, invited(ada, role="client", rider=str(rider_cy.pk))["key"]).status_code == 201


def test_the_last_owner_is_neither_removed_nor_made_less(ada, owner_ada, fitter_bo):
    for refused in (remove(ada, owner_ada.membership), change(ada, owner_ada.membership, role="fitter")):
        assert (refused.status_code, "last owner" in refused.json()["detail"]) == (409, True)
    change(ada, fitter_bo.membership, role="owner")
    assert change(ada, owner_ada.membership, role="fitter").status_code == 200
    assert ada.get(MEMBERS).status_code == 403


def test_an_owner_who_cannot_sign_in_does_not_count(ada, owner_ada, studio):
    MembershipFactory(studio=studio, role=Role.OWNER, user__is_active=False)
    assert remove(ada, owner_ada.membership).status_code == 409


def test_a_client_is_linked_moved_and_unlinked(api, ada, studio, client_cy):
    first, second = RiderFactory(studio=studio), RiderFactory(studio=studio)
    for rider in (first, second, second):
        assert change(ada, client_cy.membership, rider=str(rider.pk)).json()["rider"] == str(rider.pk)
    assert api(client_cy).get("/api/v1/riders/").json()["results"][0]["id"] == str(second.pk)
    assert change(ada, client_cy.membership, rider=None).json()["rider"] is None
    assert api(client_cy).get("/api/v1/riders/").json()["results"] == []


def test_only_clients_are_riders(ada, studio, rider_cy, fitter_bo):
    free, cy = RiderFactory(studio=studio), rider_cy.user.membership
    assert change(ada, fitter_bo.membership, rider=str(free.pk)).status_code == 422
    assert change(ada, fitter_bo.membership, rider=str(rider_cy.pk)).status_code == 409
    assert change(ada, cy, role="fitter").status_code == 422
    assert change(ada, cy, role="fitter", rider=None).json()["role"] == "fitter"
    assert change(ada, cy, role="client", rider=str(free.pk)).json()["rider"] == str(free.pk)


def test_members_neither_are_made_nor_replaced_here(ada, owner_ada):
    assert ada.post(MEMBERS, {"role": "fitter"}).status_code == 405
    assert ada.put(f"{MEMBERS}{owner_ada.membership.pk}/", {"role": "fitter"}).status_code == 405


@pytest.mark.parametrize("who", ["fitter_bo", "client_cy", "shop_dee"])
def test_everybody_but_an_owner_sees_only_their_own_account(api, request, owner_ada, who):
    person = request.getfixturevalue(who)
    (shown,) = api(person).get(USERS).json()["results"]
    assert (shown["username"], shown["role"]) == (person.username, person.membership.role)
    assert api(person).get(f"{USERS}{owner_ada.pk}/").status_code == 404


@pytest.mark.parametrize("who", ["owner_ada", "fitter_bo", "client_cy", "shop_dee"])
def test_everybody_changes_their_own_password_and_old_sign_ins_end(api, request, who):
    person = request.getfixturevalue(who)
    client, browser = api(person), APIClient()
    browser.force_login(person)
    given = {"old_password": PASSWORD, "new_password": NEW}
    assert client.post(f"{USERS}{person.pk}/password/", given).status_code == 204
    assert [client.get(USERS).status_code, browser.get(USERS).status_code] == [401, 401]
    assert api().post("/api/v1/tokens/", {"username": person.username, "password": NEW}).status_code == 201


def test_a_wrong_old_password_or_an_easy_new_one_changes_nothing(api, fitter_bo):
    client = api(fitter_bo)
    for old, new, key in (("guess", NEW, "old_password"), (PASSWORD, "short", "new_password")):
        refused = client.post(f"{USERS}{fitter_bo.pk}/password/", {"old_password": old, "new_password": new})
        assert (refused.status_code, refused.json()["errors"][0]["key"]) == (422, key)
        assert b"guess" not in refused.content
    assert api().post("/api/v1/tokens/", {"username": "bo", "password": PASSWORD}).status_code == 201


def test_nobody_touches_the_password_or_the_sessions_of_another(api, ada, fitter_bo, owner_ada):
    given = {"old_password": PASSWORD, "new_password": NEW}
    for act, body in (("password", given), ("sign-out", None)):
        assert ada.post(f"{USERS}{fitter_bo.pk}/{act}/", body).status_code == 404


def test_signing_out_everywhere_ends_browsers_and_programs_of_this_account_only(api, fitter_bo, client_cy):
    first, second, other = APIClient(), APIClient(), APIClient()
    for client, person in ((first, fitter_bo), (second, fitter_bo), (other, client_cy)):
        client.force_login(person)
    program = api(fitter_bo)
    assert program.post(f"{USERS}{fitter_bo.pk}/sign-out/").status_code == 204
    assert [client.get(USERS).status_code for client in (first, second, program, other)] == [401, 401, 401, 200]


def test_a_member_who_lost_the_password_sets_a_new_one_by_a_link(api, ada, fitter_bo):
    old = api(fitter_bo)
    made = invited(ada, membership=str(fitter_bo.membership.pk))
    assert (made["role"], made["user"]) == ("fitter", str(fitter_bo.pk))
    assert api().post(JOIN, {"key": made["key"], "password": NEW}).status_code == 201
    assert old.get(USERS).status_code == 401
    assert api().post("/api/v1/tokens/", {"username": "bo", "password": NEW}).status_code == 201


def test_a_password_link_takes_no_role_and_ends_with_the_member(api, ada, fitter_bo):
    bo = str(fitter_bo.membership.pk)
    assert ada.post(INVITATIONS, {"membership": bo, "role": "shop"}).status_code == 422
    key = invited(ada, membership=bo)["key"]
    remove(ada, fitter_bo.membership)
    assert api().post(JOIN, {"key": key, "password": NEW}).status_code == 422


def test_every_act_stands_in_the_trail_and_the_chain_is_whole(api, ada, studio, owner_ada):
    fay = joined(api, invited(ada, role="fitter")["key"]).json()["id"]
    member = Membership.objects.get(user_id=fay)
    change(ada, member, role="shop")
    api(member.user).post(f"{USERS}{fay}/sign-out/")
    api(member.user).post(f"{USERS}{fay}/password/", {"old_password": PASSWORD, "new_password": NEW})
    remove(ada, member)
    verbs = dict.fromkeys(Event.objects.filter(studio=studio).order_by("number").values_list("verb", flat=True))
    acts = ["made", "used", "made shop of", "signed out everywhere", "changed password of", "removed"]
    assert [verb for verb in verbs if verb in acts] == acts
    assert Event.objects.get(verb="removed").actor_id == owner_ada.pk
    assert chain_faults(studio) == []


@pytest.mark.parametrize(("path", "queries"), [(USERS, 2), (MEMBERS, 2), (INVITATIONS, 2)])
def test_lists_of_people_cost_the_same_queries_for_3_rows_and_for_300(
    ada, studio, owner_ada, path, queries, django_assert_num_queries
):
    ada.get("/api/v1/tokens/")  # the token's first use in a minute is written down
    for more in (3, 297):
        MembershipFactory.create_batch(more, studio=studio, user__password="")
        Invitation.objects.bulk_create(
            Invitation(studio=studio, role="shop", sha256=f"{more}-{n}", expires_at=timezone.now() + timedelta(1))
            for n in range(more)
        )
        with django_assert_num_queries(queries):
            assert len(ada.get(path).json()["results"]) in {more, more + 1, 50}


def test_an_address_that_is_no_id_is_404(ada):
    assert ada.post(f"{USERS}not-an-id/sign-out/").status_code == 404

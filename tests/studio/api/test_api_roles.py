"""Every route that the API has, walked by every role with every method."""

from uuid import UUID

import pytest
from django.urls import URLPattern, reverse
from rest_framework.test import APIClient

from studio.api.permissions import TABLE
from studio.api.urls import urlpatterns
from studio.records.models import Role
from studio.records.services.tokens import token_create
from tests.studio.api.rows import SHARED, make_people, make_rows, studio_of

METHODS = ("get", "head", "post", "put", "patch", "delete")
READS = {"get", "head"}
OPEN = {"schema", "docs", "problem", "nowhere"}
OWN = {"tokens", "users", "join"}
"""What every account has of its own."""
OWNERS = {"memberships", "invitations"}
NOT_MINE = UUID("00000000-0000-7000-8000-000000000000")
NAMED = [pattern for pattern in urlpatterns if isinstance(pattern, URLPattern) and pattern.name != "nowhere"]
NAMES = sorted({str(pattern.name) for pattern in NAMED})


def subject_of(name):
    return next(route for route in sorted(TABLE, key=len, reverse=True) if name.startswith(route))


def address(name, pk=NOT_MINE):
    if name == "problem":
        return reverse("api:problem", kwargs={"slug": "stale"})
    takes_pk = any("pk" in pattern.pattern.regex.groupindex for pattern in NAMED if pattern.name == name)
    return reverse(f"api:{name}", kwargs={"pk": pk} if takes_pk else None)


def caller(person):
    client = APIClient()
    if person is not None:
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {token_create(user=person)[1]}", HTTP_IF_MATCH="*")
    return client


def call(person, method, path):
    return getattr(caller(person), method)(path)


def statuses(person, name):
    """What each method gives at an address, deleting last of all."""
    client = caller(person)
    return {method: getattr(client, method)(address(name)).status_code for method in METHODS}


def test_the_walk_meets_every_line_of_the_table():
    assert {subject_of(name) for name in NAMES if name != "problem"} | {"nowhere"} == set(TABLE)


@pytest.mark.parametrize("name", NAMES)
def test_nobody_signed_in_meets_401_but_for_asking_a_token_and_the_documents(db, name):
    expected = dict.fromkeys(METHODS, 401)
    if name in OPEN:
        expected = {method: 200 if method in READS else 405 for method in METHODS}
    elif subject_of(name) in {"tokens", "join"}:
        expected["post"] = 400 if name in {"tokens-list", "join"} else 405
    assert statuses(None, name) == expected


@pytest.mark.parametrize("name", NAMES)
def test_a_shop_token_is_403_everywhere_but_standings_stock_own_tokens_and_the_documents(shop_dee, name):
    met = set(statuses(shop_dee, name).values())
    if name in OPEN or subject_of(name) in {"standings", *OWN}:
        assert met <= {200, 400, 404, 405}
    else:
        assert met == ({200, 403} if name == "stock" else {403})


@pytest.mark.parametrize("name", NAMES)
def test_a_client_writes_nothing_but_own_tokens_account_and_consents(client_cy, name):
    met = statuses(client_cy, name)
    if name in OPEN or subject_of(name) in OWN:
        assert set(met.values()) <= {200, 400, 404, 405}
        return
    reads = {met.pop(method) for method in READS}
    if subject_of(name) in {"consents", "erasures"}:
        assert met.pop("post") in {400, 404, 405}
    assert set(met.values()) == {403}
    assert reads <= (
        {403}
        if subject_of(name) in {"standings", "stock", "bundles", "erasures", "transfers", *OWNERS}
        else {200, 404, 405}
    )


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("who", ["owner_ada", "fitter_bo"])
def test_fitters_and_owners_are_let_in_everywhere_but_fitters_not_to_who_belongs_here(request, who, name):
    met = set(statuses(request.getfixturevalue(who), name).values())
    if who == "fitter_bo" and name not in OPEN and subject_of(name) in {"erasures", *OWNERS}:
        assert met == {403}
    else:
        assert not {401, 403, 500} & met


@pytest.mark.parametrize("who", [None, "outsider_eve", "client_cy", "shop_dee", "fitter_bo"])
def test_an_address_that_no_route_has_is_404_for_everybody(db, request, who):
    client = caller(request.getfixturevalue(who) if who else None)
    for method in METHODS:
        answer = getattr(client, method)("/api/v1/no-such-thing/")
        assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")


@pytest.mark.parametrize("name", [name for name in NAMES if address(name) != address(name, UUID(int=1))])
def test_another_studios_row_is_like_one_that_is_not_there(name, studio, owner_ada, outsider_flo, client_cy):
    rows = make_rows(studio, client_cy) | make_people(studio, client_cy) | {"tokens": token_create(user=owner_ada)[0]}
    client = caller(outsider_flo)
    for method in METHODS:
        foreign = getattr(client, method)(address(name, rows[subject_of(name)].pk))
        missing = getattr(client, method)(address(name))
        assert foreign.status_code in {404, 405}
        assert (foreign.status_code, foreign.content) == (missing.status_code, missing.content)


@pytest.mark.parametrize("name", [name for name in NAMES if name.endswith("-list")])
def test_no_list_shows_another_studios_rows(name, studio, outsider_flo, client_cy):
    make_rows(studio, client_cy), make_people(studio, client_cy)
    shown = call(outsider_flo, "get", address(name)).json()["results"]
    own = {"tokens-list": 1, "users-list": 1, "memberships-list": 1}  # Flo's
    assert len(shown) == own.get(name, 0)


@pytest.mark.parametrize("name", [n for n in NAMES if n.endswith("-list") and subject_of(n) not in {"tokens", *OWNERS}])
def test_a_client_sees_own_rows_and_no_other_riders(name, studio, client_cy):
    own = (make_rows(studio, client_cy) | make_people(studio, client_cy))[subject_of(name)]
    make_rows(studio, None), make_people(studio, None)
    shown = [row["id"] for row in call(client_cy, "get", address(name)).json()["results"]]
    assert shown == ([] if subject_of(name) in SHARED else [str(own.pk)])


def test_a_client_cannot_read_the_row_of_another_rider(studio, client_cy):
    others = make_rows(studio, None)
    for route, row in others.items():
        assert call(client_cy, "get", f"/api/v1/{route}/{row.pk}/").status_code == 404, route


def test_an_account_without_a_role_may_nothing(db, django_user_model):
    stray = django_user_model.objects.create_user("stray")
    client = APIClient()
    client.force_authenticate(stray)
    assert client.get("/api/v1/riders/").status_code == 403


def test_health_notes_are_for_fitters_and_owners_only(studio, client_cy, fitter_bo, owner_ada):
    rider = make_rows(studio, client_cy)["riders"]
    type(rider).objects.filter(pk=rider.pk).update(health_notes="left knee")
    path = f"/api/v1/riders/{rider.pk}/"
    assert call(fitter_bo, "get", path).json()["health_notes"] == "left knee"
    assert call(owner_ada, "get", path).json()["health_notes"] == "left knee"
    assert "health_notes" not in call(client_cy, "get", path).json()
    assert all("health_notes" not in row for row in call(client_cy, "get", "/api/v1/riders/").json()["results"])


def test_every_role_has_a_column():
    known = {*Role.values, "anonymous"}
    assert {str(role) for row in TABLE.values() for role in row} <= known


def test_a_signed_in_browser_reads_without_a_token_and_writes_only_with_csrf(studio, fitter_bo):
    client = APIClient(enforce_csrf_checks=True)
    client.force_login(fitter_bo)
    assert client.get("/api/v1/riders/").status_code == 200
    refused = client.post("/api/v1/riders/", {"code": "R-1"})
    assert refused.status_code == 403
    assert refused["Content-Type"] == "application/problem+json"
    assert studio_of(fitter_bo) == studio

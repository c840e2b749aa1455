"""Correcting by API: two phones on one session lose nothing, and what was put right is shown and undone."""

import pytest

from studio.records.models import Run, Setup
from tests.factories import SessionSetupFactory
from tests.studio.api.rows import make_rows


@pytest.fixture
def rows(studio, client_cy):
    rows = make_rows(studio, client_cy)
    SessionSetupFactory(session=rows["sessions"], setup=rows["setups"])
    return rows


@pytest.fixture
def bo(api, fitter_bo):
    return api(fitter_bo)


@pytest.fixture
def path(rows):
    return f"/api/v1/runs/{rows['runs'].pk}/"


def newest(client):
    return client.get("/api/v1/corrections/").json()["results"][0]


def test_the_second_phone_is_told_both_values_and_nothing_is_overwritten(api, bo, owner_ada, path):
    ada = api(owner_ada)
    tag = ada.get(path)["ETag"]
    theirs = bo.patch(path, {"left_out": "a van passed", "note": "dusty"}, HTTP_IF_MATCH=tag)
    late = ada.patch(path, {"left_out": "a gust", "note": "dusty", "lap": None}, HTTP_IF_MATCH=tag)
    assert late.status_code == 412
    assert late.json()["differences"] == [{"key": "left_out", "yours": "a gust", "theirs": "a van passed"}]
    assert late["ETag"] == theirs["ETag"]
    assert Run.objects.get().left_out == "a van passed"


def test_who_saw_both_values_repeats_with_the_tag_that_came_along(bo, path):
    tag = bo.get(path)["ETag"]
    bo.patch(path, {"left_out": "a van passed"}, HTTP_IF_MATCH=tag)
    late = bo.patch(path, {"left_out": "a gust"}, HTTP_IF_MATCH=tag)
    assert bo.patch(path, {"left_out": "a gust"}, HTTP_IF_MATCH=late["ETag"]).json()["left_out"] == "a gust"


@pytest.mark.parametrize(
    ("route", "changes"),
    [
        ("riders", {"contact": "by bell"}),
        ("sessions", {"weather": [], "note": "calm", "system_mass_kg": 83.4}),
        ("setups", {"tyre_pressure_kpa": {"front": 510}}),
        ("products", {"list_price": "12.00", "currency": "EUR"}),
        ("mountings", {"slot": "rear_wheel"}),
        ("calibrations", {"result": "out of what is stated"}),
    ],
)
def test_every_record_tells_both_values_of_what_differs(bo, rows, route, changes):
    path = f"/api/v1/{route}/{rows[route].pk}/"
    now = bo.get(path)
    late = bo.patch(path, changes, HTTP_IF_MATCH='"older.0"')
    expected = [
        {"key": key, "yours": value, "theirs": now.json()[key]}
        for key, value in changes.items()
        if now.json()[key] != value
    ]
    assert expected
    assert (late.status_code, late.json()["differences"], late["ETag"]) == (412, expected, now["ETag"])


def test_a_race_after_the_check_tells_both_values_too(bo, path, monkeypatch):
    def somebody_was_quicker(request, record):
        Run.objects.filter(pk=record.pk).update(version=9, left_out="a van passed")

    monkeypatch.setattr("studio.api.base.require_match", somebody_was_quicker)
    late = bo.patch(path, {"left_out": "a gust"}, HTTP_IF_MATCH="*")
    assert late.json()["differences"] == [{"key": "left_out", "yours": "a gust", "theirs": "a van passed"}]
    assert Run.objects.get().left_out == "a van passed"


def test_a_left_out_run_is_listed_and_undone(bo, path, rows):
    bo.patch(path, {"left_out": "a gust"}, HTTP_IF_MATCH=bo.get(path)["ETag"])
    said = newest(bo)
    assert (said["kind"], said["reason"], said["made_by"]) == ("left_out", "a gust", "bo")
    assert (said["session"], said["may_be_undone"]) == (str(rows["sessions"].pk), True)
    answer = bo.post(f"/api/v1/corrections/{said['id']}/undo/")
    assert (answer.status_code, answer.json()["undone_by"], answer.json()["may_be_undone"]) == (200, "bo", False)
    assert bo.get(path).json()["left_out"] == ""
    again = bo.post(f"/api/v1/corrections/{said['id']}/undo/")
    assert (again.status_code, again.json()["type"]) == (409, "/api/v1/docs/problems/conflict/")


def test_an_empty_session_is_deleted_and_brought_back(bo, rows):
    body = {key: str(rows[f"{key}s"].pk) for key in ("rider", "bike", "course")}
    made = bo.post("/api/v1/sessions/", body | {"date": "2026-05-10", "timezone": "UTC"})
    assert bo.delete(made["Location"], HTTP_IF_MATCH=made["ETag"]).status_code == 204
    bo.post(f"/api/v1/corrections/{newest(bo)['id']}/undo/")
    back = bo.get(made["Location"])
    assert back.status_code == 200
    assert back["ETag"] != made["ETag"]


def test_a_session_that_was_analysed_is_not_empty(bo, rows):
    path = f"/api/v1/sessions/{rows['sessions'].pk}/"
    rows["runs"].delete()
    rows["recordings"].delete()
    answer = bo.delete(path, HTTP_IF_MATCH="*")
    assert (answer.status_code, "in use by analyses" in answer.json()["detail"]) == (409, True)


def mend(bo, rows, **more):
    body = {"setup": str(rows["setups"].pk), "reason": "gravel under the scale", "system_mass_kg": 83.4} | more
    return bo.post(f"/api/v1/sessions/{rows['sessions'].pk}/mend/", body)


def test_a_setup_is_mended_by_a_new_one(bo, rows, path):
    answer = mend(bo, rows)
    assert answer.status_code == 201, answer.content
    made = bo.get(answer["Location"])
    assert (made.json(), made["ETag"]) == (answer.json(), answer["ETag"])
    assert (made.json()["system_mass_kg"], made.json()["label"]) == (83.4, rows["setups"].label)
    assert bo.get(path).json()["setup"] == made.json()["id"]
    assert bo.get(f"/api/v1/setups/{rows['setups'].pk}/").json()["system_mass_kg"] is None


@pytest.mark.parametrize(
    ("more", "status", "key"),
    [
        ({"reason": ""}, 400, "reason"),
        ({"colour": "red"}, 400, "colour"),
        ({"setup": "00000000-0000-7000-8000-000000000000"}, 422, "setup"),
        ({"system_mass_kg": -1.0}, 422, "system_mass_kg"),
        ({"runs": [99]}, 422, "runs"),
        ({"runs": []}, 422, "runs"),
        ({"items": {"wheels": "x"}}, 400, "items.wheels"),
    ],
)
def test_a_mending_that_cannot_be_is_refused_by_its_key(bo, rows, more, status, key):
    answer = mend(bo, rows, **more)
    assert (answer.status_code, answer.json()["errors"][0]["key"]) == (status, key)
    assert Setup.objects.count() == 1


def test_a_second_mending_meets_409(bo, rows):
    mend(bo, rows)
    assert mend(bo, rows).status_code == 409


def test_a_slot_is_emptied_by_null(bo, rows):
    first = mend(bo, rows, items={"wheels": str(rows["equipment-items"].pk)}).json()
    second = mend(bo, rows, setup=first["id"], system_mass_kg=84, items={"wheels": None})
    assert (first["items"], second.json()["items"]) == ({"wheels": str(rows["equipment-items"].pk)}, {})


def test_a_client_corrects_nothing(api, client_cy, rows):
    cy = api(client_cy)
    assert cy.post(f"/api/v1/corrections/{rows['corrections'].pk}/undo/").status_code == 403
    assert mend(cy, rows).status_code == 403

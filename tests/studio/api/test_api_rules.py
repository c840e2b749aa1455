"""What the records refuse, as the API says it: 409 against what is there, 422 for what cannot be used."""

import pytest

from studio.records.models import Setup
from tests import factories
from tests.studio.api.rows import body_for, make_rows


@pytest.fixture
def rows(studio, client_cy):
    return make_rows(studio, client_cy)


@pytest.fixture
def bo(api, fitter_bo):
    return api(fitter_bo)


def refused(answer, status):
    assert answer.status_code == status, answer.content
    assert answer["Content-Type"] == "application/problem+json"
    return answer.json()


@pytest.mark.parametrize(
    ("route", "same"),
    [
        ("riders", lambda rows: {"code": rows["riders"].code}),
        ("products", lambda rows: {"category": rows["products"].category, "name": rows["products"].name}),
        ("runs", lambda rows: {"number": rows["runs"].number}),
    ],
)
def test_what_is_there_once_is_409_the_second_time(bo, rows, route, same):
    problem = refused(bo.post(f"/api/v1/{route}/", body_for(route, rows) | same(rows)), 409)
    assert problem["errors"]


@pytest.mark.parametrize(
    ("route", "wrong"),
    [
        ("riders", {"height_cm": 20}),
        ("bikes", {"mass_kg": -8}),
        ("bikes", {"drivetrain_efficiency": 1.2}),
        ("courses", {"length_m": 0}),
        ("products", {"currency": ""}),
        ("setups", {"system_mass_kg": 0}),
        ("sessions", {"timezone": "Atlantic/Atlantis"}),
        ("runs", {"to": "2026-05-09T08:00:00Z"}),
        ("runs", {"lap": 2}),
    ],
)
def test_what_cannot_be_used_is_422_and_named(bo, rows, route, wrong):
    problem = refused(bo.post(f"/api/v1/{route}/", body_for(route, rows) | wrong), 422)
    assert all(error["key"] and error["allowed"] for error in problem["errors"])


REFERENCES = [
    ("bikes", "rider"),
    ("equipment-items", "product"),
    ("mountings", "item"),
    ("positions", "bike"),
    ("setups", "bike"),
    ("sessions", "course"),
    ("runs", "session"),
    ("runs", "setup"),
    ("runs", "recording"),
]
ROUTE_OF = {"item": "equipment-items"}


@pytest.mark.parametrize(("route", "key"), REFERENCES)
def test_another_studios_row_in_a_body_is_422_like_one_that_is_not_there(bo, rows, outsider_eve, route, key):
    foreign = make_rows(outsider_eve.membership.studio, None)[ROUTE_OF.get(key, f"{key}s")]
    given = {str(foreign.pk), "00000000-0000-7000-8000-000000000000"}
    problems = [refused(bo.post(f"/api/v1/{route}/", body_for(route, rows) | {key: pk}), 422) for pk in given]
    assert [problem["errors"][0]["key"] for problem in problems] == [key, key]
    assert problems[0]["detail"] == problems[1]["detail"]


@pytest.mark.parametrize(("route", "key"), REFERENCES)
def test_what_is_no_id_in_a_body_is_400(bo, rows, route, key):
    refused(bo.post(f"/api/v1/{route}/", body_for(route, rows) | {key: "first"}), 400)


def test_an_item_of_another_studio_in_a_slot_is_422_and_the_slot_is_there(bo, rows, outsider_eve):
    foreign = make_rows(outsider_eve.membership.studio, None)["equipment-items"]
    body = body_for("setups", rows) | {"items": {"wheels": str(foreign.pk)}}
    assert refused(bo.post("/api/v1/setups/", body), 422)["errors"][0]["key"] == "items.wheels"
    assert Setup.objects.filter(label="B").count() == 0


def test_a_setup_that_a_run_uses_cannot_change_but_a_new_one_can_be_made(bo, rows):
    path = f"/api/v1/setups/{rows['setups'].pk}/"
    problem = refused(bo.patch(path, {"bottles": 2}, HTTP_IF_MATCH="*"), 409)
    assert "new setup" in problem["detail"]
    assert bo.post("/api/v1/setups/", body_for("setups", rows)).status_code == 201


def test_the_items_of_a_free_setup_are_replaced_as_a_whole(bo, rows):
    made = bo.post("/api/v1/setups/", body_for("setups", rows))
    item = str(factories.EquipmentItemFactory(product=rows["products"]).pk)
    changed = bo.patch(made["Location"], {"items": {"helmet": item}}, HTTP_IF_MATCH=made["ETag"])
    assert changed.json()["items"] == {"helmet": item}
    assert changed.json()["bottles"] == 1


def test_put_gives_back_to_rest_what_it_leaves_out(bo, rows):
    made = bo.post("/api/v1/setups/", body_for("setups", rows))
    body = {"bike": str(rows["bikes"].pk), "label": "B"}
    said = bo.put(made["Location"], body, HTTP_IF_MATCH=made["ETag"]).json()
    assert (said["bottles"], said["tyre_pressure_kpa"], said["system_mass_kg"]) == (None, {}, None)


def test_a_bike_stays_with_its_rider(bo, rows):
    other = str(factories.RiderFactory(studio=rows["bikes"].studio).pk)
    path = f"/api/v1/bikes/{rows['bikes'].pk}/"
    assert refused(bo.patch(path, {"rider": other}, HTTP_IF_MATCH="*"), 422)["errors"][0]["key"] == "rider"


@pytest.mark.parametrize("route", ["riders", "bikes", "products", "setups", "courses", "sessions", "recordings"])
def test_what_others_hang_on_is_not_removed(bo, rows, route):
    refused(bo.delete(f"/api/v1/{route}/{rows[route].pk}/", HTTP_IF_MATCH="*"), 409)


def test_a_run_is_left_out_with_a_reason_and_taken_in_again(bo, rows):
    path = f"/api/v1/runs/{rows['runs'].pk}/"
    out = bo.patch(path, {"left_out": "stopped at a gate"}, HTTP_IF_MATCH=bo.get(path)["ETag"])
    assert out.json()["left_out"] == "stopped at a gate"
    assert bo.patch(path, {"left_out": ""}, HTTP_IF_MATCH=out["ETag"]).json()["left_out"] == ""


def test_a_run_without_a_number_gets_the_next_and_brings_its_setup_into_the_session(bo, rows):
    setup = bo.post("/api/v1/setups/", body_for("setups", rows)).json()["id"]
    run = bo.post("/api/v1/runs/", body_for("runs", rows) | {"setup": setup}).json()
    assert run["number"] == rows["runs"].number + 1
    assert setup in bo.get(f"/api/v1/sessions/{run['session']}/").json()["setups"]


def test_the_first_setup_is_the_reference_where_none_is_named(bo, rows):
    body = body_for("sessions", rows)
    del body["reference"]
    assert bo.post("/api/v1/sessions/", body).json()["reference"] == body["setups"][0]


def test_a_reference_outside_the_setups_is_422(bo, rows):
    body = body_for("sessions", rows) | {"setups": []}
    refused(bo.post("/api/v1/sessions/", body), 422)


def test_a_changed_session_shows_its_new_setups_at_once(bo, rows):
    made = bo.post("/api/v1/sessions/", body_for("sessions", rows))
    second = bo.post("/api/v1/setups/", body_for("setups", rows)).json()["id"]
    changes = {"setups": [second, str(rows["setups"].pk)], "reference": second}
    changed = bo.patch(made["Location"], changes, HTTP_IF_MATCH=made["ETag"]).json()
    assert (changed["setups"], changed["reference"]) == (changes["setups"], second)


def test_a_session_without_runs_is_no_bundle_yet(bo, rows, studio):
    empty = factories.FieldSessionFactory(rider=rows["riders"], bike=rows["bikes"])
    refused(bo.get(f"/api/v1/sessions/{empty.pk}/bundle/"), 422)


def test_a_new_setup_by_way_of_a_run_is_news_of_the_session(bo, rows):
    path = f"/api/v1/sessions/{rows['sessions'].pk}/"
    tag = bo.get(path)["ETag"]
    bo.post("/api/v1/runs/", body_for("runs", rows))
    assert bo.get(path, HTTP_IF_NONE_MATCH=tag).status_code == 200
    assert bo.patch(path, {"note": "late"}, HTTP_IF_MATCH=tag).status_code == 412


def test_a_product_named_by_a_number_too_long_for_its_column_is_400(bo, db):
    refused(bo.post("/api/v1/products/", {"category": "x" * 61, "name": "n"}), 400)


def test_a_refused_cut_is_named_as_the_body_names_it(bo, rows):
    cut = {"from": "2026-05-09T09:00:00Z", "to": "2026-05-09T08:00:00Z"}
    (error,) = refused(bo.post("/api/v1/runs/", body_for("runs", rows) | cut), 422)["errors"]
    assert error["key"] in ("from, to", "to, from")


def test_a_refused_assumption_is_named_as_the_body_names_it(bo, rows):
    (error,) = refused(bo.post("/api/v1/sessions/", body_for("sessions", rows) | {"assumed": {"crr": -1}}), 422)[
        "errors"
    ]
    assert error["key"] == "assumed.crr"


@pytest.mark.parametrize(("route", "key"), [("runs", "from"), ("mountings", "mounted_at")])
@pytest.mark.parametrize("time", ["2026-05-09T08:00:00", "2026-05-09", "yesterday"])
def test_a_time_without_its_offset_is_400(bo, rows, route, key, time):
    """RFC 3339, section 5.6: a date-time ends with its offset."""
    (error,) = refused(bo.post(f"/api/v1/{route}/", body_for(route, rows) | {key: time}), 400)["errors"]
    assert (error["key"], error["allowed"]) == (key, "a time with its offset, such as 2026-05-09T08:10:00Z")


def test_a_refusal_speaks_of_its_keys_as_the_body_has_them(bo, rows):
    times = {"lap": 1, "from": "2026-05-09T08:00:00Z", "to": "2026-05-09T08:01:00Z"}
    problem = refused(bo.post("/api/v1/runs/", body_for("runs", rows) | times), 422)
    assert [error["key"] for error in problem["errors"]] == ["lap, to, from"]
    assert "lap, to, from is " in problem["detail"]

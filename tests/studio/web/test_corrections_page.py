"""What was put right: listed with both values, undone on the same day; an empty session deleted and brought back."""

from datetime import timedelta

import pytest
from django.utils import timezone

from studio.records.models import Correction, FieldSession, Run
from studio.records.services.runs import run_delete
from studio.records.services.sessions import session_delete
from tests.factories import AnalysisFactory, FieldSessionFactory, SetupFactory
from tests.studio.web.markup import Page


@pytest.fixture
def bo(fitter_bo, browser):
    return browser(fitter_bo)


@pytest.fixture
def empty(rider_cy):
    return FieldSessionFactory(rider=rider_cy, title="rained off")


def correct(client, session, number=2, **sent):
    run = session.runs.get(number=number)
    client.post(f"/runs/{run.pk}/", {"act": "leave-out", "version": run.version, "left_out": "a gust", **sent})


def text_of(response, status=200):
    assert response.status_code == status, response.content.decode()
    return Page(response.content.decode()).text


def listed(client, session, status=200):
    return text_of(client.get(f"/sessions/{session.pk}/corrections/"), status)


def undo(client):
    return client.post(f"/corrections/{Correction.objects.first().pk}/undo/")


def test_nothing_corrected_yet_teaches_where_to_begin(bo, bare_day):
    assert "Nothing was corrected yet" in listed(bo, bare_day)
    assert f"/sessions/{bare_day.pk}/corrections/" in Page(bo.get(f"/sessions/{bare_day.pk}/").content.decode()).links()


def test_a_correction_says_both_values_who_and_when(bo, bare_day):
    correct(bo, bare_day)
    text = listed(bo, bare_day)
    assert "Left out" in text
    assert "bo a gust" in text
    assert "run 2, counts yes no: a gust" in text


def test_a_reassignment_tells_what_is_tested_before_and_after(bo, bare_day):
    other = SetupFactory(bike=bare_day.bike, label="C")
    correct(bo, bare_day, act="reassign", setup=other.pk)
    assert "run 2, setup B C setups that are tested A (reference), B A (reference), B, C" in listed(bo, bare_day)


def test_it_is_undone_and_both_acts_stay(bo, bare_day):
    correct(bo, bare_day)
    answer = undo(bo)
    text = text_of(bo.get(answer.url))
    assert "Undone: left out. Both acts stay on record." in text
    assert "by bo." in text
    assert not any("/undo/" in form for form in Page(bo.get(answer.url).content.decode()).forms())
    assert bare_day.runs.get(number=2).left_out == ""


def test_what_somebody_built_on_is_not_undone_and_both_are_told(bo, bare_day):
    correct(bo, bare_day)
    Run.objects.filter(session=bare_day, number=2).update(left_out="a van passed")
    text = text_of(undo(bo), 409)
    assert "Not undone. Somebody changed the same since" in text
    assert "run 2, left_out: on record now 'a van passed'" in text
    assert "run 2, counts yes no: a gust" in text
    assert bare_day.runs.get(number=2).left_out == "a van passed"


def test_a_second_undoing_is_refused(bo, bare_day):
    correct(bo, bare_day)
    undo(bo)
    assert "undone already" in text_of(undo(bo), 409)


def test_the_button_is_gone_the_day_after(bo, bare_day):
    correct(bo, bare_day)
    Correction.objects.update(created_at=timezone.now() - timedelta(days=1))
    page = Page(bo.get(f"/sessions/{bare_day.pk}/corrections/").content.decode())
    assert not any("/undo/" in form for form in page.forms())
    assert "undoing ends with that day" in text_of(undo(bo), 409)


def test_opening_the_address_of_an_undoing_undoes_nothing(bo, bare_day):
    correct(bo, bare_day)
    assert bo.get(f"/corrections/{Correction.objects.get().pk}/undo/").url == f"/sessions/{bare_day.pk}/corrections/"
    assert bare_day.runs.get(number=2).left_out == "a gust"


def test_a_deleted_run_is_named_and_comes_back(bo, bare_day):
    run_delete(record=bare_day.runs.get(number=8), by=None, version=1)
    assert "Run deleted: run 8" in listed(bo, bare_day)
    undo(bo)
    assert bare_day.runs.filter(number=8).exists()


def test_an_empty_session_is_deleted_and_brought_back(bo, empty):
    path = f"/sessions/{empty.pk}/delete/"
    assert path in Page(bo.get(f"/sessions/{empty.pk}/").content.decode()).links()
    answer = bo.post(path, {"version": 1, "sure": "yes"})
    text = text_of(bo.get(answer.url))
    assert (answer.url, "rained off is deleted" in text) == ("/corrections/", True)
    assert "rained off (deleted)" in text
    assert not FieldSession.objects.exists()
    assert undo(bo).url == f"/sessions/{empty.pk}/corrections/"
    assert FieldSession.objects.get() == empty


def test_a_session_with_runs_offers_no_deleting_and_refuses_it(bo, bare_day):
    path = f"/sessions/{bare_day.pk}/delete/"
    assert path not in Page(bo.get(f"/sessions/{bare_day.pk}/").content.decode()).links()
    assert "The session has runs or recordings" in text_of(bo.post(path, {"version": 1, "sure": "yes"}), 409)


def test_a_session_that_was_analysed_stays_even_without_a_run(bo, empty):
    AnalysisFactory(session=empty)
    assert "in use by analyses" in text_of(bo.post(f"/sessions/{empty.pk}/delete/", {"version": 1, "sure": "yes"}), 409)
    assert FieldSession.objects.exists()


def test_deleting_needs_the_tick_and_the_version_that_was_seen(bo, empty):
    path = f"/sessions/{empty.pk}/delete/"
    assert "Tick the box" in text_of(bo.post(path, {"version": 1}), 422)
    FieldSession.objects.update(version=2, note="ride it on Friday")
    text = text_of(bo.post(path, {"version": 1, "sure": "yes"}), 412)
    assert "Somebody changed this session" in text
    assert "ride it on Friday" in text
    assert FieldSession.objects.exists()


def test_deleting_twice_finds_nothing(bo, empty):
    session_delete(record=empty, by=None, version=1)
    assert bo.post(f"/sessions/{empty.pk}/delete/", {"version": 1, "sure": "yes"}).status_code == 404


def test_a_client_and_an_outsider_correct_nothing(bo, bare_day, empty, client_cy, outsider_eve, browser):
    correct(bo, bare_day)
    mark = Correction.objects.get().pk
    for who, status in ((client_cy, 403), (outsider_eve, 404)):
        client = browser(who)
        assert client.get(f"/sessions/{bare_day.pk}/corrections/").status_code == status
        assert client.post(f"/corrections/{mark}/undo/").status_code == status
        assert client.post(f"/sessions/{empty.pk}/delete/", {"version": 1, "sure": "yes"}).status_code == status
    assert "a gust" not in text_of(browser(outsider_eve).get("/corrections/"))
    links = Page(browser(client_cy).get(f"/sessions/{empty.pk}/").content.decode()).links()
    assert not [link for link in links if "delete" in link or "corrections" in link]


def test_the_list_costs_the_same_for_few_and_many(bo, bare_day, django_assert_num_queries):
    other = SetupFactory(bike=bare_day.bike, label="C").pk
    correct(bo, bare_day, number=1, act="reassign", setup=other)
    listed(bo, bare_day)
    # browser session, user, membership and studio, the session, its corrections, setups with slots, pieces, products
    with django_assert_num_queries(10):
        listed(bo, bare_day)
    for number in (2, 5, 6, 7):
        correct(bo, bare_day, number=number, act="reassign", setup=other)
    with django_assert_num_queries(10):
        listed(bo, bare_day)

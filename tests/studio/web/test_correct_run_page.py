"""A run put right by its page: left out, taken back in, reassigned; two phones lose nothing."""

import pytest

from studio.records.models import Correction, Run
from tests.factories import SetupFactory
from tests.studio.web.markup import Page


@pytest.fixture
def run(bare_day):
    """Run 2 of A B B A A B B A."""
    return Run.objects.get(session=bare_day, number=2)


@pytest.fixture
def bo(fitter_bo, browser):
    return browser(fitter_bo)


def send(client, run, act, version=None, **typed):
    version = Run.objects.get(pk=run.pk).version if version is None else version
    return client.post(f"/runs/{run.pk}/", {"act": act, "version": version, **typed})


def seen(response, status):
    assert response.status_code == status, response.content.decode()
    return Page(response.content.decode())


def value_of(page, name):
    return next(one.get("value") for one in page.all("input") if one.get("name") == name)


def setup_of(run, label):
    return run.session.setup_links.get(setup__label=label).setup


def test_the_session_page_leads_to_every_run(bare_day, run, fitter_bo, page):
    assert f"/runs/{run.pk}/" in page(fitter_bo, f"/sessions/{bare_day.pk}/").links()


def test_a_run_is_left_out_with_its_reason_and_taken_back_in(bo, run):
    answer = send(bo, run, "leave-out", left_out=" a van passed ")
    assert answer.url == f"/sessions/{run.session_id}/"
    assert "Run 2 is left out: a van passed. Start the analysis again" in seen(bo.get(answer.url), 200).text
    assert Run.objects.get(pk=run.pk).left_out == "a van passed"
    send(bo, run, "take-in")
    assert Run.objects.get(pk=run.pk).left_out == ""
    assert [one.kind for one in Correction.objects.all()] == ["taken_in", "left_out"]


def test_a_run_is_given_another_setup(bo, run):
    answer = send(bo, run, "reassign", setup=setup_of(run, "A").pk)
    assert "Run 2 is of setup A now." in seen(bo.get(answer.url), 200).text
    assert Run.objects.get(pk=run.pk).setup.label == "A"


def test_who_takes_a_setups_last_run_is_told_what_is_tested_now(bo, run):
    Run.objects.filter(session=run.session, setup__label="A").exclude(number=1).delete()
    first = Run.objects.get(session=run.session, number=1)
    answer = send(bo, first, "reassign", setup=setup_of(run, "B").pk)
    text = seen(bo.get(answer.url), 200).text
    assert "No run of setup A is left, so the session tests it no longer. The reference is setup B." in text


@pytest.mark.parametrize(
    ("act", "typed", "told"),
    [
        ("leave-out", {"left_out": "  "}, "Say why the run is left out"),
        ("leave-out", {"left_out": "x" * 301}, "at most 300 characters"),
        ("reassign", {"setup": "not one"}, "none of this bike's"),
        ("", {}, "Use one of the buttons"),
    ],
)
def test_what_cannot_be_is_told_and_nothing_is_written(bo, run, act, typed, told):
    assert told in seen(send(bo, run, act, **typed), 422).text
    assert Run.objects.get(pk=run.pk).version == 1


def test_the_second_phone_is_shown_both_and_keeps_what_was_typed(bo, browser, owner_ada, run):
    drawn_from = value_of(seen(bo.get(f"/runs/{run.pk}/"), 200), "version")
    send(browser(owner_ada), run, "leave-out", left_out="a gust")
    page = seen(send(bo, run, "leave-out", version=drawn_from, left_out="a van passed"), 412)
    assert "run 2 left out: a gust left out: a van passed" in page.text
    assert value_of(page, "left_out") == "a van passed"
    assert Run.objects.get(pk=run.pk).left_out == "a gust"
    again = send(bo, run, "leave-out", version=value_of(page, "version"), left_out="a van passed")
    assert again.status_code == 302
    assert Run.objects.get(pk=run.pk).left_out == "a van passed"


def test_two_setups_for_one_run_are_both_shown(bo, browser, owner_ada, run):
    other = SetupFactory(bike=run.session.bike, label="C")
    send(browser(owner_ada), run, "reassign", setup=other.pk)
    page = seen(send(bo, run, "reassign", version=1, setup=setup_of(run, "A").pk), 412)
    assert "setup of run 2 C A run 2 counts not touched by you" in page.text
    chosen = [one["value"] for one in page.all("option") if "selected" in one]
    assert chosen == [str(setup_of(run, "A").pk)]
    assert f"/sessions/{run.session_id}/" in page.links()
    assert Run.objects.get(pk=run.pk).setup == other


def test_who_wants_what_somebody_did_already_is_told_so(bo, browser, owner_ada, run):
    send(browser(owner_ada), run, "leave-out", left_out="a gust")
    answer = send(bo, run, "leave-out", version=1, left_out="a gust")
    assert "Run 2 says so already" in seen(bo.get(answer.url), 200).text
    assert Correction.objects.count() == 1


@pytest.mark.parametrize("version", ["", "x", "9" * 40, "-1"])
def test_a_form_without_a_sound_version_writes_nothing(bo, run, version):
    assert send(bo, run, "leave-out", version=version, left_out="a gust").status_code == 412
    assert Run.objects.get(pk=run.pk).left_out == ""


def test_a_client_sees_and_sends_no_such_form(bare_day, run, client_cy, outsider_eve, page, browser):
    assert f"/runs/{run.pk}/" not in page(client_cy, f"/sessions/{bare_day.pk}/").links()
    sent = [send(browser(who), run, "leave-out", left_out="x").status_code for who in (client_cy, outsider_eve)]
    assert sent == [403, 404]
    assert Run.objects.get(pk=run.pk).left_out == ""

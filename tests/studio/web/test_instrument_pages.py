"""Instruments and their checks: what is due is said in words, and both are entered by form."""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from studio.records.models import Calibration, Instrument
from tests.factories import CalibrationFactory, InstrumentFactory
from tests.studio.web.markup import Page


@pytest.fixture
def meter(studio):
    return InstrumentFactory(studio=studio, kind="power_meter", name="Crank meter", serial="7")


def checked(meter, due, done=-100, **facts):
    today = timezone.localdate()
    due_on = None if due is None else today + timedelta(days=due)
    return CalibrationFactory(instrument=meter, done_on=today + timedelta(days=done), due_on=due_on, **facts)


@pytest.mark.parametrize(
    ("due", "words"), [(-1, "overdue since"), (0, "due on"), (1, "due on"), (None, "no next check entered")]
)
def test_the_list_says_in_words_what_is_due(due, words, meter, fitter_bo, page):
    checked(meter, due)
    text = page(fitter_bo, "/instruments/").text
    assert f"Crank meter 7 power meter {words}" in text
    assert ("1 overdue." in text) == (due == -1)


def test_the_last_check_decides_and_one_to_come_does_not(meter, fitter_bo, page):
    checked(meter, -1)
    checked(meter, 100, done=-1, result="within 0.4 %")
    checked(meter, 400, done=2)
    text = page(fitter_bo, "/instruments/").text
    assert "None is overdue." in text
    assert "within 0.4 %" in text


def test_what_is_out_of_use_is_not_overdue_and_what_was_never_checked_says_so(meter, studio, fitter_bo, page):
    checked(meter, -1)
    Instrument.objects.update(retired_on=date(2026, 1, 1))
    InstrumentFactory(studio=studio, name="Scale", serial="")
    text = page(fitter_bo, "/instruments/").text
    assert "out of use" in text
    assert "never checked" in text
    assert "None is overdue." in text


def test_an_instrument_and_its_check_are_entered_by_form(db, browser, fitter_bo):
    client = browser(fitter_bo)
    facts = {"kind": "barometer", "name": "Desk barometer", "serial": "9", "stated_accuracy": "0.5 hPa"}
    made = client.post("/instruments/", facts)
    check = {"done_on": "2026-05-09", "result": "agrees", "figure": "0.4", "figure_unit": "hPa", "due_on": "2027-05-09"}
    answer = client.post(made["Location"], check, follow=True)
    assert "9 May 2026 agrees 0.4 hPa 9 May 2027" in Page(answer.content.decode()).text
    assert Calibration.objects.values_list("figure", "due_on").get() == (0.4, date(2027, 5, 9))


def test_what_the_records_refuse_is_said_at_the_form(meter, browser, fitter_bo):
    client = browser(fitter_bo)
    twice = client.post("/instruments/", {"kind": "power_meter", "name": "Crank meter", "serial": "7"})
    late = {"done_on": "2026-05-09", "result": "agrees", "due_on": "2026-05-09"}
    order = client.post(f"/instruments/{meter.pk}/", late)
    assert (twice.status_code, order.status_code) == (422, 422)
    assert "used once in a studio" in Page(twice.content.decode()).text
    assert "due after this one was done" in Page(order.content.decode()).text


@pytest.mark.parametrize("count", [3, 30])
def test_the_list_costs_the_same_queries_for_few_and_many(count, studio, fitter_bo, browser, django_assert_num_queries):
    for _ in range(count):
        checked(InstrumentFactory(studio=studio), 10)
    client = browser(fitter_bo)
    with django_assert_num_queries(5):
        client.get("/instruments/")

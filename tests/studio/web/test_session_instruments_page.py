"""Naming what measured a test day, by form."""

from datetime import timedelta

import pytest

from tests.factories import CalibrationFactory, InstrumentFactory
from tests.studio.web.markup import Page


@pytest.fixture
def address(bare_day):
    return f"/sessions/{bare_day.pk}/instruments/"


@pytest.fixture
def meter(studio):
    return InstrumentFactory(studio=studio, name="Crank meter", serial="7")


def test_the_ticked_ones_are_the_days(bare_day, meter, studio, address, browser, fitter_bo):
    bare_day.instruments.add(InstrumentFactory(studio=studio))
    sent = {"instrument": [str(meter.pk), "no-id"], "version": bare_day.version}
    answer = browser(fitter_bo).post(address, sent)
    assert answer["Location"] == f"/sessions/{bare_day.pk}/"
    assert list(bare_day.instruments.all()) == [meter]


def test_the_page_says_how_each_check_stood_on_that_day(bare_day, meter, address, fitter_bo, page):
    day = bare_day.date
    CalibrationFactory(instrument=meter, done_on=day - timedelta(9), due_on=day - timedelta(1))
    CalibrationFactory(instrument=meter, done_on=day + timedelta(9), due_on=day + timedelta(99))
    bare_day.instruments.add(meter)
    seen = page(fitter_bo, address)
    assert "Crank meter 7 power meter, overdue since" in seen.text
    assert [one["value"] for one in seen.all("input") if "checked" in one] == [str(meter.pk)]


def test_a_session_that_somebody_changed_is_not_written_over(bare_day, meter, address, browser, fitter_bo):
    answer = browser(fitter_bo).post(address, {"instrument": [str(meter.pk)], "version": bare_day.version + 1})
    assert answer.status_code == 412
    assert "Somebody changed this session" in Page(answer.content.decode()).text
    assert not bare_day.instruments.exists()


def test_another_studios_instrument_is_not_taken(bare_day, address, browser, fitter_bo):
    sent = {"instrument": [str(InstrumentFactory().pk)], "version": bare_day.version}
    browser(fitter_bo).post(address, sent)
    assert not bare_day.instruments.exists()


def test_without_any_instrument_the_page_leads_to_them(address, fitter_bo, page):
    assert "/instruments/" in page(fitter_bo, address).links()

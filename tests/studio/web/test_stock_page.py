"""The page of the stock file: look, then import exactly what was shown."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from studio.records.models import Product
from tests.factories import ProductFactory
from tests.studio.web.markup import Page

ADDRESS = "/equipment/stock/"
GOOD = b"category;name;list_price;currency\nhelmet;Orlo;289,00;EUR\nsuit;Ribbed;;\n"


@pytest.fixture
def look(browser, fitter_bo):
    def looked(content):
        return browser(fitter_bo).post(ADDRESS, {"file": SimpleUploadedFile("s.csv", content)})

    return looked


def confirmed(response):
    """What the confirm button of the page sends."""
    page = Page(response.content.decode())
    return {one["name"]: one["value"] for one in page.all("input") if one.get("type") == "hidden"}


def test_looking_changes_nothing_and_the_button_does_what_was_shown(look, browser, fitter_bo, studio):
    ProductFactory(studio=studio, category="suit", name="Ribbed", list_price=None, currency="")
    seen = look(GOOD)
    text = Page(seen.content.decode()).text
    assert "2 lines: 1 new, 1 unchanged. Nothing has been changed yet." in text
    assert "2 Orlo (helmet) is new list_price: 289.00 currency: EUR" in text
    assert Product.objects.count() == 1
    done = browser(fitter_bo).post(ADDRESS, confirmed(seen), follow=True)
    assert "Imported s.csv: 1 new, 0 changed." in Page(done.content.decode()).text
    assert Product.objects.count() == 2


def test_a_refused_line_says_why_and_leaves_no_button(look):
    seen = Page(look(b"category,name,list_price,currency\nhelmet,Orlo,-1,EUR\n").content.decode())
    assert "list_price : found -1; allowed: A list price is 0 or more." in seen.text
    assert "Import exactly this" not in seen.text


def test_the_button_says_where_the_stock_changed_meanwhile_and_shows_it_anew(look, browser, fitter_bo, studio):
    seen = look(GOOD)
    ProductFactory(studio=studio, category="helmet", name="Orlo", list_price="1.00", currency="EUR")
    answer = browser(fitter_bo).post(ADDRESS, confirmed(seen))
    text = Page(answer.content.decode()).text
    assert answer.status_code == 422
    assert "changed since the dry run, so nothing was imported" in text
    assert "list_price: 1.00 becomes 289.00" in text


def test_a_file_that_says_nothing_new_is_told_so(look, browser, fitter_bo):
    browser(fitter_bo).post(ADDRESS, confirmed(look(GOOD)))
    assert "The records say all of this already" in Page(look(GOOD).content.decode()).text


@pytest.mark.parametrize("content", [b"\xff\xfe", b"x" * (512 * 1024 + 1), b"category,name,colour\n"])
def test_a_file_that_cannot_be_read_is_refused_in_words(content, look):
    answer = look(content)
    assert answer.status_code == 422
    assert "Nothing was imported" in Page(answer.content.decode()).text


def test_no_file_and_a_spoiled_form_are_asked_for_a_file(browser, fitter_bo):
    for sent in ({}, {"content": "%%%", "seen": "x"}):
        assert b"No file was chosen" in browser(fitter_bo).post(ADDRESS, sent).content


def test_a_body_beyond_the_cap_is_refused_before_it_is_spooled(look, settings):
    settings.UPLOAD_MAX_BYTES = 1000
    answer = look(b"x" * 70_000)
    assert answer.status_code == 422
    assert b"The file is too large" in answer.content

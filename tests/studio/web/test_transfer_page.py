"""The fitters' page: what a difference changes with, and what it is without each rider."""

from urllib.parse import urlencode

import pytest

from tests.factories import EditionFactory, StandingsFactory
from tests.studio.transferring import entered, question
from tests.studio.web.markup import Page


@pytest.fixture
def products(studio):
    made, _ = entered(studio)
    StandingsFactory(edition__studio=studio, category=made[0].category, figures={}, products=[], covariance=b"")
    return made


def address(products, **more):
    return f"/standings/transfer/?{urlencode(question(products, **more))}"


def test_riders_are_named_and_slopes_told(products, fitter_bo, page):
    seen = page(fitter_bo, address(products)).text
    assert "R-13" in seen
    assert "10 cm more" in seen
    assert "not told: 0 riders tell it; a slope needs at least 10" in seen


def test_the_page_leads_from_a_category_to_two_products(products, fitter_bo, page):
    assert "Choose a category and ask: its products can be chosen then." in page(fitter_bo, "/standings/transfer/").text
    seen = page(fitter_bo, "/standings/transfer/?category=" + products[0].category)
    assert "Choose two products and ask." in seen.text
    assert len(seen.all("option")) == 5


def test_a_category_that_no_text_can_be_has_no_products(products, fitter_bo, page):
    assert "Choose two products and ask." in page(fitter_bo, "/standings/transfer/?category=wheels%00").text


@pytest.mark.parametrize("who", ["shop_dee", "client_cy"])
def test_a_shop_and_a_client_see_no_rider(request, products, browser, who):
    response = browser(request.getfixturevalue(who)).get(address(products))
    assert response.status_code == 403
    assert b"R-13" not in response.content


def test_another_studio_sees_no_rider(products, outsider_eve, browser):
    response = browser(outsider_eve).get(address(products))
    assert response.status_code == 422
    assert "R-13" not in Page(response.content.decode()).text


def test_before_the_first_edition(studio, fitter_bo, page):
    assert "no edition of standings yet" in page(fitter_bo, "/standings/transfer/").text


def test_nothing_is_said_of_products_that_nobody_compared(studio, fitter_bo, page):
    products, _ = entered(studio, agreed=False)
    EditionFactory(studio=studio)
    assert "nothing connects the two products" in page(fitter_bo, address(products)).text

"""The shop's page: table and drawing of what may be shown, the rest in sentences."""

import numpy as np
import pytest

from tests.factories import ConsentFactory, ContributorKeyFactory, ProductFactory, StandingsFactory
from tests.standing_figures import FIGURES
from tests.studio.web.markup import Page


@pytest.fixture
def wheels(studio):
    """Two products with figures and one withheld."""
    consent = ConsentFactory(rider__studio=studio, purpose="pooled_results")
    told = {"p_best": 0.3, "score": 0.5, "riders": 12, "studies": 14, "component": 1, "median_cda_m2": 0.24}
    rows = []
    for name, effect in (("Tarn 40", 0.0), ("<b>Tarn 80", -0.005)):
        product = ProductFactory(studio=studio, name=name, list_price="1000.00", currency="EUR")
        rows.append({"product": str(product.pk), "effect_m2": effect, **told, "withheld": None})
    hidden = ProductFactory(studio=studio, name="Hidden")
    rows.append({"product": str(hidden.pk), "withheld": "two riders tested it"})
    return StandingsFactory(
        edition__studio=studio,
        category="wheels",
        figures=FIGURES,
        products=rows,
        covariance=np.array([0.0, 0.0, 1e-6]).tobytes(),
        contributors=np.array([ContributorKeyFactory(rider=consent.rider).key], np.int64).tobytes(),
    )


def asked(wheels, **more):
    reference = wheels.products[0]["product"]
    return "/standings/?" + "&".join(
        f"{k}={v}" for k, v in {"category": "wheels", "reference": reference, **more}.items()
    )


def test_before_the_first_edition_the_page_says_when_there_will_be_figures(shop_dee, page):
    assert "at least three riders" in page(shop_dee, "/standings/").text


def test_the_table_the_drawing_and_the_file_say_the_same(wheels, shop_dee, page):
    seen = page(shop_dee, asked(wheels))
    assert "\N{MINUS SIGN}0.0050 \N{MINUS SIGN}0.0070 to \N{MINUS SIGN}0.0030" in seen.text
    assert "<b>Tarn 80: \N{MINUS SIGN}0.0050 square metres" in seen.text
    assert len(seen.all("svg")) == 1
    assert any(link.startswith("/api/v1/standings/?") and "format=csv" in link for link in seen.links())


def test_what_cannot_be_said_is_said_with_its_reason(wheels, shop_dee, page):
    assert "Nothing can be said of Hidden: two riders tested it." in page(shop_dee, asked(wheels)).text


def test_a_new_rider_is_told_what_to_expect(wheels, shop_dee, page):
    seen = page(shop_dee, asked(wheels)).text
    assert "With <b>Tarn 80 instead of Tarn 40, a new rider can expect between" in seen


@pytest.fixture
def slopes(wheels):
    """Counts and slopes beside the faster product."""
    slope = {"moderator": "height", "unit": "cm", "step": 10.0, "slope_m2": -0.0012, "riders": 14, "withheld": None}
    told = slope | {"ci95_m2": [-0.002, -0.0004]}
    chance = slope | {"moderator": "yaw", "slope_m2": 0.0001, "ci95_m2": [-0.001, 0.0012]}
    withheld = slope | {"moderator": "speed", "slope_m2": None, "ci95_m2": None, "withheld": "too few"}
    kinds = told | {"moderator": "bike_kind", "unit": "road instead of time trial", "step": 1.0}
    wheels.products[1] |= {"faster_riders": 9, "counted_riders": 12, "slopes": [told, chance, withheld, kinds]}
    wheels.save()
    return wheels


def test_the_shop_is_told_on_how_many_riders_it_was_faster(slopes, shop_dee, page):
    assert "It was faster on 9 of 12 riders counted." in page(shop_dee, asked(slopes)).text


def test_slopes_beyond_chance_are_told_in_plain_words(slopes, shop_dee, page):
    seen = page(shop_dee, asked(slopes)).text
    assert "with 10 cm more of the rider's height the difference changes by \N{MINUS SIGN}0.0012" in seen
    assert "with a road bike instead of a time trial bike the difference" in seen
    assert "wind angle the difference" not in seen
    assert "km/h more the" not in seen


def test_no_count_is_told_where_there_is_none(wheels, shop_dee, page):
    assert "riders counted" not in page(shop_dee, asked(wheels)).text


def test_fitters_find_the_way_to_what_each_rider_carries_and_shops_do_not(wheels, shop_dee, fitter_bo, page):
    assert any(link.startswith("/standings/transfer/?") for link in page(fitter_bo, asked(wheels)).links())
    assert not any("transfer" in link for link in page(shop_dee, asked(wheels)).links())


def test_a_question_keeps_what_was_filled_in_and_leads_to_the_same_table(wheels, shop_dee, page):
    seen = page(shop_dee, asked(wheels, speed_kmh=50))
    assert [one.get("value") for one in seen.all("input") if one.get("name") == "speed_kmh"] == ["50"]
    assert "Watts at 50.0 km/h" in seen.text


def test_a_refusal_names_what_is_allowed(wheels, shop_dee, browser):
    response = browser(shop_dee).get(asked(wheels, speed_kmh=500))
    assert response.status_code == 422
    assert "speed_kmh is '500', allowed: a number from 5 to 100" in Page(response.content.decode()).text


def test_without_a_stratums_figures_nothing_is_drawn(wheels, shop_dee, page):
    seen = page(shop_dee, asked(wheels, yaw="0-5"))
    assert seen.all("svg") == []
    assert "nobody has tested it in this stratum" in seen.text

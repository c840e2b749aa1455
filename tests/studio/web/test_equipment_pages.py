"""The pages of equipment: the catalogue, and what the history of a piece says in words."""

from datetime import date

import pytest

from studio.records.models import Run
from tests.factories import (
    CalibrationFactory,
    EquipmentItemFactory,
    InstrumentFactory,
    MountingFactory,
    ProductFactory,
    RiderFactory,
)
from tests.studio.web.days import answered


@pytest.fixture
def wheels(analysis):
    """The piece that Cy's day changed to."""
    changed = analysis.session.setup_links.get(setup__label="B").setup
    return changed.slots.get(slot="wheels").item


def address(item):
    return f"/equipment/items/{item.pk}/"


def test_the_catalogue_lists_products_by_category_with_their_pieces(studio, fitter_bo, page):
    item = EquipmentItemFactory(product__studio=studio, product__category="suit", product__name="Ilmer Ribbed")
    ProductFactory(studio=studio, category="helmet", name="Orlo Tail", list_price="289.00", currency="EUR")
    seen = page(fitter_bo, "/equipment/")
    assert seen.text.index("Helmet") < seen.text.index("Orlo Tail") < seen.text.index("Suit")
    assert "289.00 EUR" in seen.text
    assert f"/equipment/products/{item.product_id}/" in seen.links()


def test_an_empty_catalogue_says_how_it_fills(fitter_bo, page):
    assert "No equipment yet" in page(fitter_bo, "/equipment/").text


def test_a_piece_says_distance_hours_and_result(wheels, analysis, fitter_bo, page):
    Run.objects.filter(session=analysis.session).update(ridden_m=4500.0, ridden_s=900.0)
    seen = page(fitter_bo, address(wheels))
    assert "18.0 km and 1.0 h in 4 runs" in seen.text
    assert "Faster: setup B against setup A" in seen.text.replace("\N{NO-BREAK SPACE}", " ")
    assert f"/results/{analysis.pk}/" in seen.links()


def test_runs_that_nobody_read_are_said(wheels, fitter_bo, page):
    assert "in 4 runs, of which 4 not counted: analyse their session again" in page(fitter_bo, address(wheels)).text


def test_a_piece_says_where_it_was_and_what_measured_it(wheels, analysis, rider_cy, studio, fitter_bo, page):
    MountingFactory(bike__rider=rider_cy, bike__name="Hollin Arrow", item=wheels)
    meter = InstrumentFactory(studio=studio, name="Crank meter", serial="7")
    CalibrationFactory(instrument=meter, done_on=date(2026, 5, 1), result="+0.4 %")
    analysis.session.instruments.add(meter)
    seen = page(fitter_bo, address(wheels)).text
    assert "Hollin Arrow wheels 9 May 2026, 12:00 still there" in seen
    assert "power meter Crank meter 7 checked 1 May 2026: +0.4 %" in seen


def test_a_client_sees_no_test_of_another_rider_on_an_own_piece(wheels, studio, rider_cy, client_cy, page):
    wheels.rider = rider_cy
    wheels.save()
    answered(RiderFactory(studio=studio, code="R-OTHER"), title="their day", piece=wheels)
    seen = page(client_cy, address(wheels)).text
    assert "two wheels" in seen
    assert "R-OTHER" not in seen
    assert "their day" not in seen


def test_the_session_leads_to_the_history_of_what_it_rode(wheels, analysis, fitter_bo, client_cy, page):
    session = f"/sessions/{analysis.session_id}/"
    assert address(wheels) in page(fitter_bo, session).links()
    assert address(wheels) not in page(client_cy, session).links()


@pytest.mark.parametrize("count", [1, 12])
def test_a_history_costs_the_same_queries_for_few_days_and_many(
    count, wheels, rider_cy, studio, fitter_bo, browser, django_assert_num_queries
):
    for _ in range(count):
        session = answered(rider_cy, piece=wheels).session
        session.instruments.add(InstrumentFactory(studio=studio))
    client = browser(fitter_bo)
    with django_assert_num_queries(13):
        assert client.get(address(wheels)).status_code == 200

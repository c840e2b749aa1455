"""Whether a difference transfers, over HTTP: for fitters and owners of the riders' studio, and for nobody else."""

import pytest

from analysis.results.transfer import ALONE, NOT_COMPARED
from tests.factories import ConsentFactory, ProductFactory, RiderFactory
from tests.studio.transferring import SLOPE_M2_PER_CM, entered, question

PATH = "/api/v1/transfers/"


@pytest.fixture
def ask(api):
    def asked(person, products, **more):
        return api(person).get(PATH, question(products, **more))

    return asked


def test_every_rider_is_left_out_and_the_difference_told_without(ask, studio, fitter_bo):
    products, riders = entered(studio)
    answer = ask(fitter_bo, products).json()
    assert {row["rider"] for row in answer["left_out"]} == {str(rider.pk) for rider in riders}
    assert sum(row["share"] for row in answer["left_out"]) == pytest.approx(1.0)
    for row in answer["left_out"]:
        assert row["change_m2"] == pytest.approx(row["effect_m2"] - answer["effect_m2"])


def test_the_difference_grows_with_height_and_that_explains_the_spread(ask, studio, fitter_bo):
    products, _ = entered(studio)
    rows = {row["moderator"]: row for row in ask(fitter_bo, products).json()["moderators"]}
    height = rows["height"]
    assert height["slope_m2"] == pytest.approx(10 * SLOPE_M2_PER_CM, abs=2 * height["se_m2"])
    assert height["ci95_m2"][0] > 0.0
    assert height["explained"] > 0.9
    assert (height["riders"], height["unit"], height["step"]) == (14, "cm", 10.0)


def test_what_too_few_riders_tell_is_a_reason_and_no_number(ask, studio, fitter_bo):
    products, _ = entered(studio, riders=9)
    rows = ask(fitter_bo, products).json()["moderators"]
    assert {row["slope_m2"] for row in rows} == {None}
    assert {row["untold"] for row in rows if row["moderator"] == "height"} == {
        "9 riders tell it; a slope needs at least 10"
    }


def test_a_moderator_that_nobody_recorded_says_so(ask, studio, fitter_bo):
    products, _ = entered(studio)
    rows = {row["moderator"]: row for row in ask(fitter_bo, products).json()["moderators"]}
    assert rows["yaw"]["untold"] == "0 riders tell it; a slope needs at least 10"
    assert "hardly differs" in rows["bike_kind"]["untold"]


def test_products_that_nothing_connects(ask, studio, fitter_bo):
    products, _ = entered(studio, riders=1)
    other = ProductFactory(studio=studio, name="Untested")
    answer = ask(fitter_bo, [products[0], other]).json()
    assert (answer["effect_m2"], answer["untold"], answer["left_out"]) == (None, NOT_COMPARED, [])
    assert [row["untold"] for row in ask(fitter_bo, products).json()["left_out"]] == [ALONE]


def test_riders_who_did_not_agree_are_in_nothing(ask, studio, owner_ada):
    products, riders = entered(studio, agreed=False)
    for rider in riders[:3]:
        ConsentFactory(rider=rider, purpose="pooled_results")
    rows = ask(owner_ada, products).json()["left_out"]
    assert {row["rider"] for row in rows} == {str(rider.pk) for rider in riders[:3]}


@pytest.mark.parametrize("who", ["shop_dee", "client_cy"])
def test_a_shop_and_a_client_are_refused(request, ask, studio, who):
    person = request.getfixturevalue(who)
    RiderFactory(studio=studio, user=person) if who == "client_cy" else None
    answer = ask(person, entered(studio)[0])
    assert answer.status_code == 403
    assert b"effect" not in answer.content


@pytest.mark.parametrize("who", ["outsider_eve", "outsider_flo"])
def test_another_studios_staff_learn_nothing_of_these_riders(request, ask, studio, who):
    """Their question is answered as one of products that do not exist."""
    products, riders = entered(studio)
    answer = ask(request.getfixturevalue(who), products)
    assert answer.status_code == 422
    assert all(str(rider.pk) not in answer.content.decode() for rider in riders)


def test_nobody_signed_in_is_401(client, studio):
    assert client.get(PATH, question(entered(studio)[0])).status_code == 401


@pytest.mark.parametrize("missing", ["category", "product", "reference"])
def test_a_part_that_is_missing_is_400_and_named(api, studio, fitter_bo, missing):
    asked = question(entered(studio, riders=1)[0])
    del asked[missing]
    answer = api(fitter_bo).get(PATH, asked)
    assert answer.status_code == 400
    assert [one["key"] for one in answer.json()["errors"]] == [missing]


@pytest.mark.parametrize("value", ["Tarn", "01a212e5-49a3-73d6-8323-b4747022e135"])
def test_another_product_than_the_categorys_is_422(ask, studio, fitter_bo, value):
    answer = ask(fitter_bo, entered(studio, riders=1)[0], product=value)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["allowed"] == "the id of a product of the category"


def test_a_category_that_no_text_can_be_is_422(ask, studio, fitter_bo):
    """PostgreSQL refuses a NUL within a question itself."""
    products, _ = entered(studio)
    answer = ask(fitter_bo, products, category="wheels\0")
    assert (answer.status_code, [one["key"] for one in answer.json()["errors"]]) == (422, ["product", "reference"])


def test_a_product_against_itself_is_422(ask, studio, fitter_bo):
    products = entered(studio, riders=1)[0]
    assert ask(fitter_bo, products, product=str(products[0].pk)).status_code == 422


def test_it_costs_the_same_queries_for_few_riders_and_many(api, studio, fitter_bo, django_assert_max_num_queries):
    client, asked = api(fitter_bo), question(entered(studio, riders=40)[0])
    client.get(PATH, asked)
    with django_assert_max_num_queries(4):
        assert client.get(PATH, asked).status_code == 200

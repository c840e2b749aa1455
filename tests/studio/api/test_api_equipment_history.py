"""The history of items and products: what counts, what a caller may not see, and that it costs no more with more."""

from datetime import date

import pytest

from studio.records.models import Run
from tests.factories import (
    NOON,
    AnalysisFactory,
    CalibrationFactory,
    EquipmentItemFactory,
    FieldSessionFactory,
    InstrumentFactory,
    MountingFactory,
    ProductFactory,
    RiderFactory,
    RunFactory,
    SessionSetupFactory,
    SetupItemFactory,
)
from tests.studio.web.stories import story

CHANGES = [{"factor": "items.wheels", "from": "Tarn 40", "to": "Tarn 50"}]


def ridden_day(rider, items, *, on=date(2026, 5, 9), changes=CHANGES):
    """A session whose setups A and B have these wheels, two runs each of 1500 m in 150 s, analysed."""
    session = FieldSessionFactory(rider=rider, date=on)
    for order, (label, item) in enumerate(items.items()):
        link = SessionSetupFactory(session=session, setup__label=label, order=order, reference=label == "A")
        SetupItemFactory(setup=link.setup, slot="wheels", item=item)
        for number in (1, 2):
            RunFactory(session=session, number=2 * order + number, setup=link.setup, ridden_m=1500.0, ridden_s=150.0)
    result = story("faster")
    result["comparisons"][0]["changes"] = changes
    AnalysisFactory(session=session, number=1, result=result)
    return session


@pytest.fixture
def wheels(studio):
    return {
        label: EquipmentItemFactory(product=ProductFactory(studio=studio, name=name), serial=f"s-{label}")
        for label, name in (("A", "Tarn 40"), ("B", "Tarn 50"))
    }


@pytest.fixture
def history(api, fitter_bo):
    def asked(item, by=None, route="equipment-items"):
        answer = api(by or fitter_bo).get(f"/api/v1/{route}/{item.pk}/history/")
        assert answer.status_code == 200, answer.content
        return answer.json()

    return asked


def test_an_item_says_how_far_and_how_long_it_was_ridden(rider_cy, wheels, history):
    ridden_day(rider_cy, wheels)
    ridden_day(rider_cy, wheels)
    assert history(wheels["B"])["ridden"] == {"runs": 4, "runs_not_read": 0, "distance_m": 6000.0, "time_s": 600.0}


def test_runs_that_nobody_has_read_are_counted_apart(rider_cy, wheels, history):
    session = ridden_day(rider_cy, wheels)
    Run.objects.filter(session=session, number=3).update(ridden_m=None, ridden_s=None)
    assert history(wheels["B"])["ridden"] == {"runs": 2, "runs_not_read": 1, "distance_m": 1500.0, "time_s": 150.0}


def test_a_test_says_its_result_and_whether_it_was_of_this_equipment(rider_cy, wheels, history):
    session = ridden_day(rider_cy, wheels)
    (test,) = history(wheels["B"])["tests"]
    assert (test["session"], test["setups"], test["slots"]) == (str(session.pk), ["B"], ["wheels"])
    (outcome,) = test["results"]
    assert (outcome["verdict"], outcome["of_this"]) == ("faster", True)
    assert outcome["ridden_delta_m2"] == story("faster")["comparisons"][0]["ridden_delta_m2"]


def test_equipment_ridden_on_both_sides_was_not_what_was_tested(rider_cy, wheels, history):
    ridden_day(rider_cy, {"A": wheels["A"], "B": wheels["A"]}, changes=[{"factor": "bottles", "from": 1, "to": 2}])
    (test,) = history(wheels["A"])["tests"]
    assert test["setups"] == ["A", "B"]
    assert [outcome["of_this"] for outcome in test["results"]] == [False]


def test_the_check_in_force_is_the_last_before_the_test(rider_cy, wheels, history, studio):
    session = ridden_day(rider_cy, wheels, on=date(2026, 5, 9))
    meter = InstrumentFactory(studio=studio)
    for day in (date(2026, 4, 1), date(2026, 5, 9), date(2026, 6, 1)):
        CalibrationFactory(instrument=meter, done_on=day, result=f"of {day}")
    unchecked = InstrumentFactory(studio=studio)
    session.instruments.set([meter, unchecked])
    (test,) = history(wheels["A"])["tests"]
    checks = {one["id"]: one["check"] and one["check"]["result"] for one in test["instruments"]}
    assert checks == {str(meter.pk): "of 2026-05-09", str(unchecked.pk): None}


def test_a_product_adds_up_its_items(rider_cy, wheels, history):
    other = EquipmentItemFactory(product=wheels["B"].product)
    ridden_day(rider_cy, wheels)
    ridden_day(rider_cy, {"A": wheels["A"], "B": other})
    told = history(wheels["B"].product, route="products")
    assert (len(told["items"]), told["tests_in_all"], told["ridden"]["distance_m"]) == (2, 2, 6000.0)


def test_mountings_are_told_newest_first_with_their_place(rider_cy, wheels, history):
    item = wheels["A"]
    first = MountingFactory(bike__rider=rider_cy, item=item, mounted_at=NOON, removed_at=NOON.replace(day=20))
    MountingFactory(bike=None, studio=item.studio, rider=rider_cy, item=item, mounted_at=NOON.replace(day=21))
    told = history(item)["mountings"]
    assert [(one["bike_name"], one["rider_code"]) for one in told] == [(None, "R-CY"), (first.bike.name, None)]
    assert told[1]["removed_at"] == "2026-05-20T12:00:00Z"


def test_a_client_sees_of_an_own_item_only_own_tests(studio, rider_cy, client_cy, wheels, history):
    own = EquipmentItemFactory(product=wheels["B"].product, rider=rider_cy)
    mine = ridden_day(rider_cy, {"A": wheels["A"], "B": own})
    ridden_day(RiderFactory(studio=studio), {"A": wheels["A"], "B": own})
    told = history(own, by=client_cy)
    assert [test["session"] for test in told["tests"]] == [str(mine.pk)]
    assert told["ridden"]["distance_m"] == 3000.0


def test_it_costs_the_same_queries_with_few_tests_and_many(rider_cy, wheels, api, fitter_bo, django_assert_num_queries):
    bo, path = api(fitter_bo), f"/api/v1/equipment-items/{wheels['B'].pk}/history/"
    bo.get("/api/v1/tokens/")  # the token's first use in a minute is written down
    for days in (1, 8):
        for _ in range(days):
            ridden_day(rider_cy, wheels).instruments.add(InstrumentFactory(studio=rider_cy.studio))
        with django_assert_num_queries(10):
            assert bo.get(path).status_code == 200

"""What a frozen report knows of the equipment before its day, and that no other rider's results are in it."""

import json
from datetime import date

import pytest

from analysis.results.models import Acceptance, Analysis
from reports.equipment import equipment
from tests.factories import (
    NOON,
    AnalysisFactory,
    CalibrationFactory,
    EquipmentItemFactory,
    FieldSessionFactory,
    InstrumentFactory,
    MountingFactory,
    RiderFactory,
    RunFactory,
    SessionSetupFactory,
    SetupItemFactory,
)
from tests.reports import stored


@pytest.fixture
def wheels(studio):
    return EquipmentItemFactory(product__studio=studio, product__name="Tarn 50", serial="s1")


def ridden(rider, item, day, **result):
    session = FieldSessionFactory(rider=rider, date=day, title=f"day {day.day}")
    link = SessionSetupFactory(session=session, setup__label="B", order=1)
    SetupItemFactory(setup=link.setup, item=item)
    RunFactory(session=session, setup=link.setup, ridden_m=3000.0, ridden_s=300.0)
    AnalysisFactory(session=session, number=1, result=stored.result("slower", **result))
    return session


def test_earlier_tests_of_the_rider_are_told_with_their_results_and_later_ones_are_not(rider_cy, wheels):
    for day in (2, 9, 20):
        ridden(rider_cy, wheels, date(2026, 5, day))
    (item,) = equipment(ridden(rider_cy, wheels, date(2026, 5, 10)))
    assert [test["title"] for test in item["tests"]] == ["day 9", "day 2"]
    assert item["tests"][0]["results"][0]["verdict"] == "slower"
    assert item["tests"][0]["results"][0]["of_this"]
    assert (item["name"], item["serial"], item["slots"]) == ("Tarn 50", "s1", ["wheels"])
    assert item["ridden"] == {"runs": 2, "runs_not_read": 0, "distance_m": 6000.0, "time_s": 600.0}


def test_of_other_riders_only_count_distance_and_time_are_told(studio, rider_cy, wheels):
    other = RiderFactory(studio=studio, code="R-SECRET")
    ridden(other, wheels, date(2026, 5, 1))
    MountingFactory(bike__rider=other, bike__name="secret bike", item=wheels, mounted_at=NOON.replace(day=1))
    found = equipment(ridden(rider_cy, wheels, date(2026, 5, 10)))
    assert found[0]["with_other_riders"]["tests"] == 1
    assert found[0]["with_other_riders"]["distance_m"] == 3000.0
    assert (found[0]["tests"], found[0]["mounted"]) == ([], [])
    assert not [word for word in ("SECRET", "secret", "verdict") if word in json.dumps(found)]


def test_where_it_is_mounted_and_what_measured_are_told(rider_cy, wheels, studio):
    earlier = ridden(rider_cy, wheels, date(2026, 5, 2))
    meter = InstrumentFactory(studio=studio, name="Crank meter", serial="7")
    CalibrationFactory(instrument=meter, done_on=date(2026, 5, 1), result="+0.4 %")
    earlier.instruments.add(meter)
    MountingFactory(bike__rider=rider_cy, bike__name="Hollin", item=wheels, mounted_at=NOON.replace(day=1))
    (item,) = equipment(ridden(rider_cy, wheels, date(2026, 5, 10)))
    assert [one["on"] for one in item["mounted"]] == ["Hollin"]
    (instrument,) = item["tests"][0]["instruments"]
    assert instrument == {
        "name": "Crank meter",
        "serial": "7",
        "check": {"done_on": "2026-05-01", "result": "+0.4 %"},
    }


def test_the_accepted_analysis_is_a_sessions_word_and_not_a_newer_one(rider_cy, wheels):
    earlier = ridden(rider_cy, wheels, date(2026, 5, 2))
    old = Analysis.objects.get(session=earlier)
    AnalysisFactory(session=earlier, number=2, result=stored.result("faster"), supersedes=old)
    Acceptance.objects.create(studio=earlier.studio, session=earlier, analysis=old, accepted_at=NOON)
    (item,) = equipment(ridden(rider_cy, wheels, date(2026, 5, 10)))
    assert [one["verdict"] for one in item["tests"][0]["results"]] == ["slower"]


def test_the_pages_tell_earlier_tests_of_a_piece(rider_cy, wheels, read):
    ridden(rider_cy, wheels, date(2026, 5, 2))
    history = equipment(ridden(rider_cy, wheels, date(2026, 5, 10)))
    text = read(stored.facts(equipment=history))
    assert "The equipment before this day" in text
    assert "Tarn 50 (serial s1): ridden by this rider in 1 run, 3.0 km in 0.1 h. 2026-05-02, day 2: B against A" in text


def test_without_a_history_the_pages_say_nothing_of_it(read):
    assert "The equipment before this day" not in read(stored.facts())


def test_a_piece_that_only_others_rode_is_told_without_their_results(studio, rider_cy, wheels, read):
    ridden(RiderFactory(studio=studio), wheels, date(2026, 5, 1))
    history = equipment(ridden(rider_cy, wheels, date(2026, 5, 10)))
    assert "Tarn 50 (serial s1): in 1 test of other riders, 3.0 km in 0.1 h." in read(stored.facts(equipment=history))

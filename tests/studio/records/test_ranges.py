"""A record made by hand keeps to what a bundle may say, so that its session's export comes in again."""

from datetime import date

import pytest

from studio.records.errors import Unusable
from studio.records.services.checking import check
from studio.records.services.sessions import session_create
from tests import factories as make

pytestmark = pytest.mark.django_db


def refused(record):
    with pytest.raises(Unusable, match="cannot be kept") as refusal:
        check(record)
    return [(fault.key, fault.given, fault.allowed) for fault in refusal.value.faults]


@pytest.mark.parametrize(
    ("factory", "values", "fault"),
    [
        (make.BikeFactory, {"wheel_circumference_m": 0.01}, ("wheel_circumference_m", "0.01", "0.8 to 3")),
        (make.BikeFactory, {"drivetrain_efficiency": 0.01}, ("drivetrain_efficiency", "0.01", "0.7 to 1")),
        (make.CourseFactory, {"length_m": 1e12}, ("length_m", "1000000000000.0", "20 to 200000")),
        (make.FieldSessionFactory, {"assumed_crr": -1.0}, ("assumed_crr", "-1.0", "0.0005 to 0.05")),
        (make.FieldSessionFactory, {"rider_mass_kg": 1e-9}, ("rider_mass_kg", "1e-09", "15 to 300")),
        (make.SetupFactory, {"tyre_pressure_kpa": {"front": 5.2}}, ("tyre_pressure_kpa.front", "5.2", "30 to 2000")),
        (make.SetupFactory, {"bottles": 999}, ("bottles", "999", "0 to 20")),
        (
            make.PositionFactory,
            {"coordinates": {"stack_mm": 1e6}},
            ("coordinates.stack_mm", "1000000.0", "-10000 to 10000"),
        ),
    ],
)
def test_what_no_bundle_may_say_is_refused_by_hand_too(factory, values, fault):
    record = factory()
    for name, value in values.items():
        setattr(record, name, value)
    assert refused(record) == [fault]


def test_weather_of_a_year_is_too_much_for_a_day():
    session = make.FieldSessionFactory()
    session.weather = [{"time": "2026-05-09T08:10:00Z", "temperature_c": 18.0}] * 5001
    assert refused(session) == [("weather", "5001 entries", "at most 5000")]


def test_weather_of_no_place_on_earth_is_refused_with_its_place_in_the_list():
    session = make.FieldSessionFactory()
    session.weather = [{"time": "2026-05-09T08:10:00Z", "temperature_c": celsius} for celsius in (18.0, 900.0)]
    assert refused(session) == [("weather[1].temperature_c", "900.0", "-45 to 60")]


def test_a_day_before_power_meters_is_refused():
    bike = make.BikeFactory()
    facts = {"rider": bike.rider, "course": make.CourseFactory(studio=bike.studio), "timezone": "Atlantic/Azores"}
    with pytest.raises(Unusable, match="date is '0001-01-01', allowed: a date in the years 1990 to 2100"):
        session_create(studio=bike.studio, by=None, bike=bike, date=date(1, 1, 1), **facts)


def test_a_text_too_long_for_its_column_is_told_by_what_the_column_holds():
    assert refused(make.RiderFactory.build(studio=make.StudioFactory(), code="c" * 61))[0][2] == "at most 60 characters"

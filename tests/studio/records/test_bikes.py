"""Positions count by bike, hold numbers, and freeze with the first run."""

import pytest

from studio.records.errors import Conflict, Unusable
from studio.records.services.bikes import bike_create, position_create, position_update
from tests.factories import BikeFactory, PositionFactory, RiderFactory, RunFactory, SetupFactory

pytestmark = pytest.mark.django_db


def test_bike_belongs_to_a_rider(studio):
    rider = RiderFactory(studio=studio)
    assert bike_create(studio=studio, by=None, rider=rider, name="A").rider == rider


def test_positions_count_on_each_bike():
    bike, other = BikeFactory(), BikeFactory()
    stack = {"pad_stack_mm": 610}
    made = [position_create(studio=one.studio, by=None, bike=one, coordinates=stack) for one in (bike, bike, other)]
    assert [position.number for position in made] == [1, 2, 1]


@pytest.mark.parametrize("value", ["610", True, None, [610]])
def test_coordinates_are_numbers(value):
    bike = BikeFactory()
    with pytest.raises(Unusable, match="coordinates.pad_stack_mm is .*allowed: a number"):
        position_create(studio=bike.studio, by=None, bike=bike, coordinates={"pad_stack_mm": value})


def test_position_says_something():
    bike = BikeFactory()
    with pytest.raises(Unusable, match="coordinates is .*allowed: something"):
        position_create(studio=bike.studio, by=None, bike=bike, coordinates={})


def test_coordinates_are_an_object():
    bike = BikeFactory()
    with pytest.raises(Unusable, match="allowed: an object of names and numbers"):
        position_create(studio=bike.studio, by=None, bike=bike, coordinates=[610])


def test_ridden_position_is_frozen():
    position = PositionFactory()
    setup = SetupFactory(bike=position.bike, position=position)
    assert position_update(record=position, by=None, version=1, changes={"name": "low"}).name == "low"
    RunFactory(setup=setup)
    with pytest.raises(Conflict, match="make a new position"):
        position_update(record=position, by=None, version=2, changes={"name": "lower"})

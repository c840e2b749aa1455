"""Setups are whole, of one studio, and frozen once a run uses them."""

import pytest

from studio.records.errors import Conflict, Unusable
from studio.records.models import Setup
from studio.records.services.setups import setup_create, setup_update
from tests.factories import BikeFactory, EquipmentItemFactory, PositionFactory, RunFactory, SetupFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def bike(studio):
    return BikeFactory(rider__studio=studio)


@pytest.fixture
def wheels(studio):
    return EquipmentItemFactory(product__studio=studio)


def slots(setup):
    return {row.slot: row.item for row in setup.slots.all()}


def test_setup_holds_an_item_for_each_slot(studio, bike, wheels):
    setup = setup_create(studio=studio, by=None, bike=bike, label="A", items={"wheels": wheels})
    assert slots(setup) == {"wheels": wheels}


def test_items_replace_all_slots(studio, bike, wheels):
    setup = setup_create(studio=studio, by=None, bike=bike, label="A", items={"wheels": wheels})
    helmet = EquipmentItemFactory(product__studio=studio)
    setup_update(record=setup, by=None, version=1, changes={"items": {"helmet": helmet}})
    assert (slots(setup), setup.version) == ({"helmet": helmet}, 2)


def test_item_of_another_studio_is_refused_whole(studio, bike):
    with pytest.raises(Unusable, match="the items of its own studio"):
        setup_create(studio=studio, by=None, bike=bike, label="A", items={"wheels": EquipmentItemFactory()})
    assert not Setup.objects.exists()


def test_position_is_on_the_setups_bike(studio, bike):
    position = PositionFactory(bike=BikeFactory(rider=bike.rider))
    with pytest.raises(Unusable, match="a position on the setup's bike"):
        setup_create(studio=studio, by=None, bike=bike, label="A", position=position)


def test_pressures_are_numbers(studio, bike):
    with pytest.raises(Unusable, match="tyre_pressure_kpa.front is '5 bar', allowed: a pressure in kPa"):
        setup_create(studio=studio, by=None, bike=bike, label="A", tyre_pressure_kpa={"front": "5 bar"})


@pytest.mark.parametrize("changes", [{"bottles": 2}, {"items": {}}, {"position": None}])
def test_used_setup_says_make_a_new_one(changes):
    setup = RunFactory().setup
    with pytest.raises(Conflict, match="make a new setup"):
        setup_update(record=setup, by=None, version=1, changes=changes)


def test_free_setup_changes():
    setup = SetupFactory()
    assert setup_update(record=setup, by=None, version=1, changes={"bottles": 2}).bottles == 2

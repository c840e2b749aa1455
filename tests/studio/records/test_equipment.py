"""Products, items, and the history of where they were mounted."""

from datetime import timedelta

import pytest

from studio.records.errors import Conflict, Unusable
from studio.records.services.equipment import (
    item_create,
    item_update,
    mounting_create,
    mounting_update,
    product_create,
)
from tests.factories import (
    NOON,
    BikeFactory,
    EquipmentItemFactory,
    ProductFactory,
    RunFactory,
    SetupFactory,
    SetupItemFactory,
)

pytestmark = pytest.mark.django_db
LATER = NOON + timedelta(hours=1)


def mount(item, bike, at=NOON, slot="wheels"):
    return mounting_create(studio=bike.studio, by=None, item=item, bike=bike, slot=slot, mounted_at=at)


@pytest.fixture
def bike(studio):
    return BikeFactory(rider__studio=studio)


@pytest.fixture
def item(studio):
    return EquipmentItemFactory(product__studio=studio)


def test_product_name_is_used_once_in_its_category(studio):
    product_create(studio=studio, by=None, category="wheels", name="Tarn 50")
    product_create(studio=studio, by=None, category="front_wheel", name="Tarn 50")
    with pytest.raises(Conflict, match="used once in its category"):
        product_create(studio=studio, by=None, category="wheels", name="Tarn 50")


def test_item_without_rider_is_stock(studio):
    assert item_create(studio=studio, by=None, product=ProductFactory(studio=studio)).rider is None


def test_mounting_elsewhere_ends_the_mounting_before(bike, item):
    first = mount(item, bike)
    mount(item, BikeFactory(rider=bike.rider), LATER)
    first.refresh_from_db()
    assert (first.removed_at, first.version) == (LATER, 2)


def test_mounting_in_a_filled_slot_removes_what_was_there(bike, item, studio):
    first = mount(item, bike)
    mount(EquipmentItemFactory(product__studio=studio), bike, LATER)
    first.refresh_from_db()
    assert first.removed_at == LATER


def test_the_slot_other_holds_several(bike, item, studio):
    first = mount(item, bike, slot="other")
    mount(EquipmentItemFactory(product__studio=studio), bike, LATER, slot="other")
    first.refresh_from_db()
    assert first.removed_at is None


def test_mounting_before_it_was_mounted_is_refused_whole(bike, item):
    first = mount(item, bike, LATER)
    with pytest.raises(Conflict, match=r"overlaps another mounting: .*, from 2026-05-09 13:00 UTC and is still there"):
        mount(item, BikeFactory(rider=bike.rider), NOON)
    first.refresh_from_db()
    assert (first.removed_at, item.mountings.count()) == (None, 1)


def past(item, bike, start, end, slot="wheels"):
    """Mounted and removed again, in hours after noon."""
    mounted_at, removed_at = (NOON + timedelta(hours=hours) for hours in (start, end))
    place = {"item": item, "bike": bike, "slot": slot, "mounted_at": mounted_at, "removed_at": removed_at}
    return mounting_create(studio=bike.studio, by=None, **place)


@pytest.mark.parametrize(("start", "end"), [(0, 3), (3, 9), (2, 6), (4, 5), (0, 9), (3, 6)])
def test_an_item_is_in_one_place_at_a_time_in_the_past_too(bike, item, start, end):
    past(item, bike, 2, 6)
    with pytest.raises(Conflict, match="overlaps another mounting"):
        past(item, BikeFactory(rider=bike.rider), start, end)
    assert item.mountings.count() == 1


@pytest.mark.parametrize(("start", "end"), [(0, 2), (6, 9)])
def test_mountings_that_only_touch_do_not_overlap(bike, item, start, end):
    past(item, bike, 2, 6)
    past(item, BikeFactory(rider=bike.rider), start, end)
    assert item.mountings.count() == 2


def test_a_slot_holds_one_item_at_a_time_in_the_past_too(bike, item, studio):
    past(item, bike, 2, 6)
    other = EquipmentItemFactory(product__studio=studio)
    with pytest.raises(Conflict, match="overlaps another mounting"):
        past(other, bike, 5, 7)
    past(other, bike, 5, 7, slot="front_wheel")


def test_correcting_a_mounting_into_another_is_refused(bike, item):
    first = past(item, bike, 2, 4)
    past(item, bike, 5, 6)
    with pytest.raises(Conflict, match="overlaps another mounting"):
        mounting_update(record=first, by=None, version=1, changes={"removed_at": NOON + timedelta(hours=5.5)})
    assert mounting_update(record=first, by=None, version=1, changes={"removed_at": NOON + timedelta(hours=5)})


def test_a_removal_before_the_mounting_is_said_as_that(bike, item):
    with pytest.raises(Unusable, match="removed after it was mounted"):
        past(item, bike, 4, 2)


def test_ridden_item_stays_its_product(bike, item, studio):
    setup = SetupFactory(bike=bike)
    SetupItemFactory(setup=setup, item=item)
    RunFactory(setup=setup)
    other = ProductFactory(studio=studio)
    with pytest.raises(Conflict, match="make a new item"):
        item_update(record=item, by=None, version=1, changes={"product": other})
    assert item_update(record=item, by=None, version=1, changes={"size": "M", "product": item.product}).size == "M"

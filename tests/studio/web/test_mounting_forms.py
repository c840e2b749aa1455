"""A piece is mounted and taken off on its page, which keeps the history."""

from datetime import UTC, datetime

import pytest

from studio.records.models import Mounting
from tests.factories import BikeFactory, EquipmentItemFactory, MountingFactory, RiderFactory
from tests.studio.web.markup import Page


@pytest.fixture
def wheels(studio):
    return EquipmentItemFactory(studio=studio, product__studio=studio, product__category="wheels", serial="7")


@pytest.fixture
def bike(rider_cy):
    return BikeFactory(rider=rider_cy, name="Hollin Arrow")


@pytest.fixture
def post(browser, fitter_bo):
    def posted(address, **sent):
        answer = browser(fitter_bo).post(address, sent, follow=True)
        return answer.status_code, Page(answer.content.decode()).text

    return posted


def mount(item, place, at="2026-05-09T08:00"):
    return {"address": f"/equipment/items/{item.pk}/mount/", "place": place, "slot": "wheels", "mounted_at": at}


def test_a_piece_is_mounted_on_a_bike_and_taken_off(wheels, bike, post):
    _, text = post(**mount(wheels, f"bike:{bike.pk}"))
    assert "Hollin Arrow wheels 9 May 2026, 08:00 still there" in text
    one = Mounting.objects.get()
    _, text = post(f"/equipment/mountings/{one.pk}/take-off/", removed_at="2026-05-10T09:30", version=one.version)
    assert "Hollin Arrow wheels 9 May 2026, 08:00 10 May 2026, 09:30" in text


def test_mounted_elsewhere_it_leaves_where_it_was(wheels, bike, rider_cy, post):
    post(**mount(wheels, f"bike:{bike.pk}"))
    post(**mount(wheels, f"rider:{rider_cy.pk}", "2026-05-11T08:00"))
    old, new = Mounting.objects.order_by("mounted_at")
    assert old.removed_at == new.mounted_at == datetime(2026, 5, 11, 8, tzinfo=UTC)


def test_what_overlaps_is_refused_and_what_was_typed_stays(wheels, bike, post):
    post(**mount(wheels, f"bike:{bike.pk}"))
    status, text = post(**mount(wheels, f"bike:{bike.pk}", "2026-05-08T08:00"))
    assert status == 422
    assert "overlaps another mounting" in text
    assert Mounting.objects.count() == 1


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"removed_at": ""}, "enter the day and the time"),
        ({"removed_at": "2026-05-01T08:00", "version": 1}, "removed after it was mounted"),
        ({"removed_at": "2026-06-01T08:00", "version": 7}, "was changed or deleted since it was read"),
    ],
)
def test_what_cannot_be_taken_off_says_why(sent, words, wheels, bike, post):
    one = MountingFactory(bike=bike, item=wheels)
    _, text = post(f"/equipment/mountings/{one.pk}/take-off/", **sent)
    assert "Not taken off" in text
    assert words in text
    assert Mounting.objects.get().removed_at is None


def test_a_bike_of_another_studio_is_no_choice(wheels, post):
    other = BikeFactory(rider=RiderFactory())
    status, _ = post(**mount(wheels, f"bike:{other.pk}"))
    assert (status, Mounting.objects.count()) == (422, 0)

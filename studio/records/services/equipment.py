"""Products, the physical pieces of them, and where those were mounted."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any

from django.db.models import Q, QuerySet

from analysis.readers.faults import Fault
from studio.records.errors import Conflict
from studio.records.models import EquipmentItem, Mounting, Product, SetupItem, Studio, User
from studio.records.services import write

PRODUCT_FIELDS = ("category", "name", "maker", "variant", "list_price", "currency", "mass_kg")
ITEM_FIELDS = ("product", "rider", "size", "serial", "acquired_on", "retired_on")
MOUNTING_FIELDS = ("slot", "mounted_at", "removed_at")
ITEM_IS_FROZEN = "A run was ridden with this item, so it stays the product that it was; make a new item."
SHARED_SLOT = "other"


def product_create(*, studio: Studio, by: User | None, **fields: object) -> Product:
    """List a product."""
    return write.create(Product, studio=studio, by=by, fields=fields)


def product_update(*, record: Product, by: User | None, version: int, changes: Mapping[str, Any]) -> Product:
    """Change what the catalogue says of a product."""
    return write.update(record, by=by, version=version, changes=changes, changeable=PRODUCT_FIELDS)


def product_delete(*, record: Product, by: User | None, version: int) -> None:
    """Delete a product of which there is no item."""
    write.delete(record, by=by, version=version)


def item_create(*, studio: Studio, by: User | None, **fields: object) -> EquipmentItem:
    """Enter a physical piece: a rider's own, or the studio's stock where no rider is given."""
    return write.create(EquipmentItem, studio=studio, by=by, fields=fields)


def stock_piece(*, product: Product, by: User | None) -> EquipmentItem:
    """The studio's own piece of a product; where there is none yet, one is entered."""
    stock = EquipmentItem.objects.filter(product=product, rider__isnull=True, retired_on__isnull=True)
    return stock.order_by("id").first() or item_create(studio=product.studio, by=by, product=product)


def item_update(*, record: EquipmentItem, by: User | None, version: int, changes: Mapping[str, Any]) -> EquipmentItem:
    """Change an item; once a run used it, it stays the product that it was."""
    with write.change_of(record.studio):
        other_product = "product" in changes and changes["product"] != record.product
        if other_product and SetupItem.objects.filter(item=record, setup__runs__isnull=False).exists():
            raise Conflict(ITEM_IS_FROZEN)
        return write.update(record, by=by, version=version, changes=changes, changeable=ITEM_FIELDS)


def item_delete(*, record: EquipmentItem, by: User | None, version: int) -> None:
    """Delete an item that was never mounted or set up."""
    write.delete(record, by=by, version=version)


def mounting_create(
    *, studio: Studio, by: User | None, item: EquipmentItem, slot: str, mounted_at: datetime, **fields: object
) -> Mounting:
    """Mount an item: it leaves the place where it was, and whatever filled the slot is removed at the same time.

    The slot `other` holds several items at once. A time that is past may be entered too, where it overlaps nothing.
    """
    values = {"item": item, "slot": slot, "mounted_at": mounted_at, **fields}
    with write.change_of(studio):
        if values.get("removed_at") is None:
            _close_mountings(studio, by, values)
        return write.create(Mounting, studio=studio, by=by, fields=values, rules=[_refuse_overlap])


def _close_mountings(studio: Studio, by: User | None, values: Mapping[str, Any]) -> None:
    place = Mounting(**{**values, "studio": studio})
    for mounting in _in_the_way(place).filter(removed_at__isnull=True, mounted_at__lt=place.mounted_at):
        changes = {"removed_at": place.mounted_at}
        # Without the rule: ending a mounting makes no overlap, also where older rows already have one.
        write.update(mounting, by=by, version=mounting.version, changes=changes, changeable=MOUNTING_FIELDS)


def _in_the_way(mounting: Mounting) -> QuerySet[Mounting]:
    """Mountings of the same item, and those in the same slot of the same bike or rider."""
    found = Q(item=mounting.item_id)
    for place in ("bike_id", "rider_id"):
        if getattr(mounting, place) is not None and mounting.slot != SHARED_SLOT:
            found |= Q(**{place: getattr(mounting, place)}, slot=mounting.slot)
    return Mounting.objects.filter(found, studio_id=mounting.studio_id).exclude(pk=mounting.pk)


def _refuse_overlap(mounting: Mounting) -> Iterable[Fault]:
    """An item is in one place at a time, and a slot holds one item at a time."""
    if mounting.removed_at is not None and mounting.removed_at <= mounting.mounted_at:
        return ()  # the constraint says what is wrong with that
    overlapping = _in_the_way(mounting).filter(Q(removed_at__isnull=True) | Q(removed_at__gt=mounting.mounted_at))
    if mounting.removed_at is not None:
        overlapping = overlapping.filter(mounted_at__lt=mounting.removed_at)
    other = overlapping.select_related("item__product", "bike", "rider").order_by("mounted_at").first()
    if other is not None:
        raise Conflict(f"This overlaps another mounting: {_told(other)}. Correct that one, or these times.")
    return ()


def _told(mounting: Mounting) -> str:
    end = f"to {_clock(mounting.removed_at)}" if mounting.removed_at else "and is still there"
    return f"{mounting.item} on {mounting.bike or mounting.rider}, from {_clock(mounting.mounted_at)} {end}"


def _clock(moment: datetime) -> str:
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M} UTC"


def mounting_update(*, record: Mounting, by: User | None, version: int, changes: Mapping[str, Any]) -> Mounting:
    """Correct a mounting, or enter its removal."""
    return write.update(
        record, by=by, version=version, changes=changes, changeable=MOUNTING_FIELDS, rules=[_refuse_overlap]
    )


def mounting_delete(*, record: Mounting, by: User | None, version: int) -> None:
    """Delete a mounting that was entered by mistake."""
    write.delete(record, by=by, version=version)

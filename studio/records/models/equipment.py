"""What a catalogue lists, the physical pieces, and where they were mounted."""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from studio.records.models.base import Record
from studio.records.models.bike import Bike
from studio.records.models.rider import Rider

SLOTS = (
    "helmet",
    "suit",
    "shoes",
    "cockpit",
    "wheels",
    "front_wheel",
    "rear_wheel",
    "tyres",
    "front_tyre",
    "rear_tyre",
    "frame",
    "other",
)
"""Slots of a setup; other names are kept as they come."""


class Product(Record):
    """A catalogue entry, shared by all riders of a studio. A bundle's item matches by category and exact name."""

    category = models.CharField(max_length=60)
    name = models.CharField(max_length=200)
    maker = models.CharField(max_length=200, blank=True)
    variant = models.CharField(max_length=200, blank=True)
    list_price = models.DecimalField(max_digits=12, decimal_places=2, null=True, blank=True)
    currency = models.CharField(max_length=3, blank=True)
    mass_kg = models.FloatField(null=True, blank=True)

    class Meta(Record.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["studio", "category", "name"],
                name="product_name_once_per_category",
                violation_error_message="A product's name is used once in its category.",
            ),
            models.CheckConstraint(
                condition=models.Q(list_price__isnull=True) | ~models.Q(currency=""),
                name="product_price_has_currency",
                violation_error_message="A list price needs its currency.",
            ),
            models.CheckConstraint(
                condition=models.Q(list_price__isnull=True) | models.Q(list_price__gte=0),
                name="product_price_not_negative",
                violation_error_message="A list price is 0 or more.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class EquipmentItem(Record):
    """One physical piece of a product: studio stock, or a rider's own."""

    client_paths: ClassVar[tuple[str, ...]] = ("rider__user",)

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="items")
    rider = models.ForeignKey(Rider, on_delete=models.PROTECT, null=True, blank=True, related_name="items")
    size = models.CharField(max_length=60, blank=True)
    serial = models.CharField(max_length=120, blank=True)
    acquired_on = models.DateField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta(Record.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["studio", "product", "serial"],
                condition=~models.Q(serial=""),
                name="item_serial_once",
                violation_error_message="A serial is used once for a product.",
                violation_error_code="unique",
            ),
            models.CheckConstraint(
                condition=models.Q(retired_on__isnull=True)
                | models.Q(acquired_on__isnull=True)
                | models.Q(retired_on__gte=models.F("acquired_on")),
                name="item_retired_after_acquired",
                violation_error_message="An item is retired on or after the day it was acquired.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product} {self.serial}".strip()


class Mounting(Record):
    """An item on a bike or on a rider, from when to when: the equipment history."""

    client_paths: ClassVar[tuple[str, ...]] = ("bike__rider__user", "rider__user")

    item = models.ForeignKey(EquipmentItem, on_delete=models.PROTECT, related_name="mountings")
    bike = models.ForeignKey(Bike, on_delete=models.PROTECT, null=True, blank=True, related_name="mountings")
    rider = models.ForeignKey(Rider, on_delete=models.PROTECT, null=True, blank=True, related_name="mountings")
    slot = models.CharField(max_length=60)
    mounted_at = models.DateTimeField()
    removed_at = models.DateTimeField(null=True, blank=True)

    class Meta(Record.Meta):
        constraints = [
            models.CheckConstraint(
                condition=models.Q(bike__isnull=True) ^ models.Q(rider__isnull=True),
                name="mounting_on_bike_or_rider",
                violation_error_message="An item is mounted on a bike or on a rider, one of the two.",
            ),
            models.CheckConstraint(
                condition=models.Q(removed_at__isnull=True) | models.Q(removed_at__gt=models.F("mounted_at")),
                name="mounting_removed_after_mounted",
                violation_error_message="An item is removed after it was mounted.",
            ),
            models.UniqueConstraint(
                fields=["item"],
                condition=models.Q(removed_at__isnull=True),
                name="mounting_one_place_at_a_time",
                violation_error_message="An item is mounted in one place at a time; enter its removal first.",
                violation_error_code="unique",
            ),
        ]

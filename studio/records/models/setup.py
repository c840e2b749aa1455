"""The full, frozen state of a test."""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from studio.records.models.base import Record
from studio.records.models.bike import Bike, Position
from studio.records.models.equipment import EquipmentItem


class Setup(Record):
    """Bike, position, an item per slot, pressures, clothing, bottles, system mass.

    Never edited once a run uses it: the database refuses (migration `freeze_used_setups`); a change makes a new setup.
    """

    client_paths: ClassVar[tuple[str, ...]] = ("bike__rider__user",)

    bike = models.ForeignKey(Bike, on_delete=models.PROTECT, related_name="setups")
    label = models.CharField(max_length=60)
    position = models.ForeignKey(Position, on_delete=models.PROTECT, null=True, blank=True, related_name="setups")
    tyre_pressure_kpa = models.JSONField(default=dict, blank=True)
    clothing = models.CharField(max_length=300, null=True, blank=True)  # noqa: DJ001 - absent and empty differ
    bottles = models.PositiveSmallIntegerField(null=True, blank=True)
    system_mass_kg = models.FloatField(null=True, blank=True)

    class Meta(Record.Meta):
        constraints = [
            models.CheckConstraint(
                condition=models.Q(system_mass_kg__isnull=True) | models.Q(system_mass_kg__gt=0),
                name="setup_mass_positive",
                violation_error_message="A system mass is above 0 kg.",
            ),
        ]

    def __str__(self) -> str:
        return self.label


class SetupItem(models.Model):
    """Which item filled which slot of a setup."""

    setup = models.ForeignKey(Setup, on_delete=models.CASCADE, related_name="slots")
    slot = models.CharField(max_length=60)
    item = models.ForeignKey(EquipmentItem, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["slot"]
        constraints = [
            models.UniqueConstraint(
                fields=["setup", "slot"], name="setup_slot_once", violation_error_message="A slot holds one item."
            )
        ]

    def __str__(self) -> str:
        return f"{self.slot}: {self.item}"

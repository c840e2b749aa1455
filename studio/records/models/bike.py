"""What is ridden, and how the rider sits on it."""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from studio.records.models.base import Record
from studio.records.models.rider import Rider


class Bike(Record):
    """A rider's bicycle with what the equation of motion needs to know of it."""

    client_paths: ClassVar[tuple[str, ...]] = ("rider__user",)

    rider = models.ForeignKey(Rider, on_delete=models.PROTECT, related_name="bikes")
    name = models.CharField(max_length=200)
    kind = models.CharField(max_length=60, blank=True)
    frame = models.CharField(max_length=200, blank=True)
    size = models.CharField(max_length=60, blank=True)
    mass_kg = models.FloatField(null=True, blank=True)
    wheel_circumference_m = models.FloatField(null=True, blank=True)
    wheel_inertia_kg_m2 = models.FloatField(null=True, blank=True)
    drivetrain_efficiency = models.FloatField(null=True, blank=True)

    class Meta(Record.Meta):
        constraints = [
            models.CheckConstraint(
                condition=models.Q(mass_kg__isnull=True) | models.Q(mass_kg__gt=0),
                name="bike_mass_positive",
                violation_error_message="A mass is above 0 kg.",
            ),
            models.CheckConstraint(
                condition=models.Q(wheel_circumference_m__isnull=True) | models.Q(wheel_circumference_m__gt=0),
                name="bike_circumference_positive",
                violation_error_message="A wheel circumference is above 0 m.",
            ),
            models.CheckConstraint(
                condition=models.Q(drivetrain_efficiency__isnull=True)
                | models.Q(drivetrain_efficiency__gt=0, drivetrain_efficiency__lte=1),
                name="bike_efficiency_is_a_share",
                violation_error_message="A drivetrain efficiency is above 0 and at most 1.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Position(Record):
    """Bike and rider coordinates: each a number whose name carries its unit (`pad_stack_mm`), and a version.

    Once a setup that a run uses names it, it cannot change: the database refuses (migration `freeze_used_setups`).
    """

    client_paths: ClassVar[tuple[str, ...]] = ("bike__rider__user",)

    bike = models.ForeignKey(Bike, on_delete=models.PROTECT, related_name="positions")
    name = models.CharField(max_length=200, blank=True)
    number = models.PositiveIntegerField()
    coordinates = models.JSONField(default=dict)

    class Meta(Record.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["bike", "number"],
                name="position_number_once_per_bike",
                violation_error_message="A position's number is used once for a bike.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.bike} position {self.number}"

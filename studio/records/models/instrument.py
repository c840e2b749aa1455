"""What measures, and how it was checked."""

from __future__ import annotations

from django.db import models

from studio.records.models.base import Record


class InstrumentKind(models.TextChoices):
    POWER_METER = "power_meter", "power meter"
    AIR_SPEED_SENSOR = "air_speed_sensor", "air-speed sensor"
    SPEED_SENSOR = "speed_sensor", "speed sensor"
    BAROMETER = "barometer", "barometer"
    THERMOMETER = "thermometer", "thermometer"
    SCALE = "scale", "scale"


class Instrument(Record):
    """A measuring instrument with its stated accuracy, in words as on its data sheet."""

    kind = models.CharField(max_length=20, choices=InstrumentKind)
    name = models.CharField(max_length=200)
    serial = models.CharField(max_length=120, blank=True)
    stated_accuracy = models.CharField(max_length=120, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta(Record.Meta):
        constraints = [
            models.CheckConstraint(
                condition=models.Q(kind__in=InstrumentKind.values),
                name="instrument_kind_known",
                violation_error_message="An instrument is one of the kinds that the list of instruments names.",
            ),
            models.UniqueConstraint(
                fields=["studio", "kind", "name", "serial"],
                name="instrument_once_per_studio",
                violation_error_message="An instrument's kind, name and serial together are used once in a studio.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.serial}".strip()


class Calibration(Record):
    """One check of an instrument: its date, figure and result, and when the next is due."""

    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="calibrations")
    done_on = models.DateField()
    figure = models.FloatField(null=True, blank=True)
    figure_unit = models.CharField(max_length=40, blank=True)
    result = models.CharField(max_length=300)
    due_on = models.DateField(null=True, blank=True)

    class Meta(Record.Meta):
        constraints = [
            models.CheckConstraint(
                condition=models.Q(due_on__isnull=True) | models.Q(due_on__gt=models.F("done_on")),
                name="calibration_due_after_done",
                violation_error_message="The next check is due after this one was done.",
            ),
        ]

"""How a device's own fields are read as channels: said once, used for every later file of that device."""

from __future__ import annotations

from django.db import models

from studio.records.models.base import Record


class DeviceMapping(Record):
    """The studio's reading of one device's fields; `rules` is what the readers take (`analysis.readers.mapping`).

    `device_key` names the device by what its files say of it, or by their columns where they say nothing.
    """

    device_key = models.CharField(max_length=40)
    name = models.CharField(max_length=200, blank=True)
    rules = models.JSONField(default=dict, blank=True)

    class Meta(Record.Meta):
        verbose_name = "mapping"
        constraints = [
            models.UniqueConstraint(
                fields=["studio", "device_key"],
                name="mapping_once_per_device",
                violation_error_message="A device has one mapping in a studio; change that one.",
            ),
        ]

    def __str__(self) -> str:
        return self.name or self.device_key

"""Which reading of a device's fields a studio remembers."""

from __future__ import annotations

from uuid import UUID

from analysis.readers.mapping_document import Rules
from studio.records.models import DeviceMapping


class RememberedRules:
    """The studio's rules by device key, as the readers ask for them: each looked up once, so that one reading is by
    one set of rules whatever is edited meanwhile."""

    def __init__(self, studio_id: UUID) -> None:
        self.studio_id = studio_id
        self.found: dict[str, Rules] = {}

    def __call__(self, device_key: str) -> Rules:
        if device_key not in self.found:
            mappings = DeviceMapping.objects.filter(studio_id=self.studio_id, device_key=device_key)
            self.found[device_key] = mappings.values_list("rules", flat=True).first() or {}
        return self.found[device_key]

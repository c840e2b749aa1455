"""The studio's own reading of a device's fields. What a field and a rule may be is the readers' business."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from analysis.readers.faults import Fault, shown
from analysis.readers.mapping_document import SCHEMA, parse_mapping_document
from studio.records.errors import fault
from studio.records.models import DeviceMapping, Studio, User
from studio.records.services import write

MAPPING_FIELDS = ("name", "rules")
DEVICE_KEY = re.compile(r"device-[0-9a-f]{24}", re.ASCII)


def mapping_create(
    *, studio: Studio, by: User | None, device_key: str, fields: Sequence[Mapping[str, Any]], name: str = ""
) -> DeviceMapping:
    """Remember how the fields of a device are read. Raises `Refused` with every fault of `fields`."""
    values = {"device_key": device_key, "name": name, "rules": rules_from(fields)}
    return write.create(DeviceMapping, studio=studio, by=by, fields=values, rules=[_whole])


def mapping_update(
    *, record: DeviceMapping, by: User | None, version: int, changes: Mapping[str, Any]
) -> DeviceMapping:
    """Change it; recordings that were read before stay as they are until they are read again."""
    values = dict(changes)
    if "fields" in values:
        values["rules"] = rules_from(values.pop("fields"))
    return write.update(record, by=by, version=version, changes=values, changeable=MAPPING_FIELDS)


def mapping_delete(*, record: DeviceMapping, by: User | None, version: int) -> None:
    """Forget it; the next file of the device is read by the default table."""
    write.delete(record, by=by, version=version)


def rules_from(fields: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    """Check the entries of a mapping document and give the readers' rules."""
    return parse_mapping_document({"schema": SCHEMA, "fields": list(fields)})


def _whole(mapping: DeviceMapping) -> Iterable[Fault]:
    if not DEVICE_KEY.fullmatch(mapping.device_key):
        yield fault("device_key", shown(mapping.device_key), "the `device_key` that a recording's preview gives")

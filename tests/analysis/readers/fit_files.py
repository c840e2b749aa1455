"""FIT files for the tests, written by an encoder that shares nothing with the decoder under test (fit-tool)."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from fit_tool.base_type import BaseType
from fit_tool.developer_field import DeveloperField
from fit_tool.fit_file_builder import FitFileBuilder
from fit_tool.profile.messages.developer_data_id_message import DeveloperDataIdMessage
from fit_tool.profile.messages.device_info_message import DeviceInfoMessage
from fit_tool.profile.messages.event_message import EventMessage
from fit_tool.profile.messages.field_description_message import FieldDescriptionMessage
from fit_tool.profile.messages.file_id_message import FileIdMessage
from fit_tool.profile.messages.lap_message import LapMessage
from fit_tool.profile.messages.record_message import RecordMessage
from fit_tool.profile.messages.session_message import SessionMessage
from fit_tool.profile.profile_type import Event, EventType, FileType

DEVELOPER_FIELDS = (("air_speed", "m/s"), ("yaw", "degrees"), ("power", "watts"))


def fit_file(
    start: datetime,
    samples: Sequence[dict[str, float]],
    *,
    laps: Sequence[tuple[int, int]] = (),
    developer: Sequence[Sequence[float]] = (),
) -> bytes:
    """Write one activity at a record a second: `laps` as (start, end) in seconds, `developer` as rows of three."""
    zero = round(start.timestamp() * 1000)
    builder = FitFileBuilder(auto_define=True, min_string_size=32)
    builder.add(_made(FileIdMessage, type=FileType.ACTIVITY, manufacturer=255, serial_number=4711, time_created=zero))
    builder.add(_made(DeviceInfoMessage, timestamp=zero, manufacturer=255, serial_number=42, software_version=1.25))
    if developer:
        _describe(builder)
    builder.add(_made(EventMessage, timestamp=zero, event=Event.TIMER, event_type=EventType.START))
    for second, sample in enumerate(samples):
        fields = _developer_fields(developer[second]) if developer else None
        record = RecordMessage(developer_fields=fields)
        record.timestamp = zero + 1000 * second
        for name, value in sample.items():
            setattr(record, name, value)
        builder.add(record)
    for first, last in laps:
        builder.add(_made(LapMessage, start_time=zero + 1000 * first, timestamp=zero + 1000 * last))
    builder.add(_made(SessionMessage, start_time=zero, timestamp=zero + 1000 * len(samples)))
    return builder.build_bytes()


def _made(kind, **facts):
    message = kind()
    for name, value in facts.items():
        setattr(message, name, value)
    return message


def _describe(builder: FitFileBuilder) -> None:
    builder.add(_made(DeveloperDataIdMessage, developer_data_index=0, application_id=bytes(16)))
    for number, (name, units) in enumerate(DEVELOPER_FIELDS):
        builder.add(
            _made(
                FieldDescriptionMessage,
                developer_data_index=0,
                field_definition_number=number,
                fit_base_type_id=BaseType.FLOAT32.value,
                field_name=name,
                units=units,
            )
        )


def _developer_fields(values: Sequence[float]) -> list[DeveloperField]:
    fields = []
    for number, ((name, units), value) in enumerate(zip(DEVELOPER_FIELDS, values, strict=True)):
        field = DeveloperField(
            field_id=number, developer_data_index=0, name=name, units=units, base_type=BaseType.FLOAT32, size=4
        )
        field.set_value(0, value)
        fields.append(field)
    return fields

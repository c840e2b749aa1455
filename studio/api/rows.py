"""Lists without model instances: the rows' columns as the serializers would show them, several times as quick.

Which keys a row has and what stands in them the serializers say, once for each class; a test holds both ways to the
same answers. What is no column of the row (`more_of` in `shapes.py`) comes for all rows of a page together.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from typing import Any
from uuid import UUID

from django.db import models
from rest_framework import serializers

from studio.api.shapes import ModelShape

Convert = Callable[[Any], Any]

AS_THEY_ARE = (
    serializers.CharField,
    serializers.IntegerField,
    serializers.FloatField,
    serializers.BooleanField,
    serializers.ChoiceField,
    serializers.JSONField,
)
IDS = (serializers.UUIDField, serializers.PrimaryKeyRelatedField)


@dataclass(frozen=True, slots=True)
class RowShape:
    """Where each key of a shown row comes from."""

    columns: tuple[str, ...]
    entries: tuple[tuple[str, str, Convert | None], ...]
    nested: tuple[tuple[str, RowShape], ...]

    def shown(self, row: Mapping[str, Any]) -> dict[str, Any]:
        """The row as its serializer shows it."""
        plain = {
            key: value if convert is None or value is None else convert(value)
            for key, value, convert in ((key, row[column], convert) for key, column, convert in self.entries)
        }
        return plain | {key: shape.shown(row) for key, shape in self.nested} if self.nested else plain


@cache
def row_shape(out: type[ModelShape[Any]]) -> RowShape | None:
    """The shape of a serializer's rows; None where some key is no column and nobody gives it (`more_of`)."""
    model: type[models.Model] = out.Meta.model
    columns = {field.name: field.attname for field in model._meta.concrete_fields}
    fields = out().fields
    shape = _shape(fields, columns, ("id", *out.more_columns))
    covered = {key for key, _, _ in shape.entries} | {key for key, _ in shape.nested}
    return shape if covered == fields.keys() or "more_of" in vars(out) else None


def shown_rows(
    out: type[ModelShape[Any]], shape: RowShape, rows: Sequence[Mapping[str, Any]], user: object
) -> list[dict[str, Any]]:
    """The rows of a page, each with the columns of its shape."""
    more, hidden = out.more_of(rows), out.hidden_from(user)
    shown = [{**shape.shown(row), **more.get(row["id"], {})} for row in rows]
    for key in hidden:
        for row in shown:
            del row[key]
    return shown


def shown_records(out: type[ModelShape[Any]], records: Sequence[models.Model], user: object) -> list[dict[str, Any]]:
    """Whole records in hand, shown in the way of a list where it can be."""
    shape = row_shape(out)
    if shape is None or out.more_columns:
        return [dict(out(record).data) for record in records]
    return shown_rows(out, shape, [vars(record) for record in records], user)


def _shape(fields: Mapping[str, Any], columns: Mapping[str, str], more: Iterable[str] = ()) -> RowShape:
    entries: list[tuple[str, str, Convert | None]] = []
    nested: list[tuple[str, RowShape]] = []
    for key, field in fields.items():
        if isinstance(field, serializers.Serializer) and field.source == "*":
            nested.append((key, _shape(field.fields, columns)))
        elif field.source in columns:
            entries.append((key, columns[field.source], _convert(field)))
    needed = [*more, *(column for _, column, _ in entries), *(one for _, shape in nested for one in shape.columns)]
    return RowShape(tuple(dict.fromkeys(needed)), tuple(entries), tuple(nested))


def _convert(field: serializers.Field[Any, Any, Any, Any]) -> Convert | None:
    if isinstance(field, serializers.DateTimeField):
        return _instant
    if isinstance(field, IDS):
        return _id
    return None if isinstance(field, AS_THEY_ARE) else field.to_representation


def _id(value: Any) -> Any:
    return str(value) if isinstance(value, UUID) else value


def _instant(value: datetime) -> str:
    return value.astimezone(UTC).isoformat().replace("+00:00", "Z")

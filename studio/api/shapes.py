"""What all In and Out serializers share: unknown keys refused, finite numbers, references to own rows only.

Shape only (400). Whether the values can be used is the services' business (422, 409).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, ClassVar, TypeVar

from django.core.exceptions import ObjectDoesNotExist
from django.db import models
from django.utils.dateparse import parse_datetime
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from studio.api.problems import UNUSABLE

M = TypeVar("M", bound=models.Model)
INSTANT = "a time with its offset, such as 2026-05-09T08:10:00Z"
UUID_FIELD = serializers.UUIDField()
SMALL_MOST, WHOLE_MOST = 2**15 - 1, 2**31 - 1
"""What the smaller of the databases' columns hold."""


class NumberField(serializers.FloatField):
    """A finite number, given as a number: text that looks like one is a wrong shape."""

    default_error_messages: ClassVar[dict[str, Any]] = {
        "invalid": "a number, without quotes",
        "finite": "a finite number",
    }

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool) or not isinstance(data, int | float):
            self.fail("invalid")
        try:
            value = float(data)
        except OverflowError:
            self.fail("finite")
        if not math.isfinite(value):
            self.fail("finite")
        return value


class WholeNumberField(serializers.IntegerField):
    """A whole number, given as a number; to JSON 3.0 is one (JSON Schema 2020-12, 6.1.1)."""

    default_error_messages: ClassVar[dict[str, Any]] = {"invalid": "a whole number, without quotes"}

    def to_internal_value(self, data: Any) -> int:
        whole = isinstance(data, int) or (isinstance(data, float) and data.is_integer())
        if isinstance(data, bool) or not whole:
            self.fail("invalid")
        return super().to_internal_value(int(data))


class OneOf(serializers.ChoiceField):
    """One of few words; a refusal names them."""

    def __init__(self, choices: Sequence[Any], **options: Any) -> None:
        super().__init__(choices, **options)
        self.error_messages["invalid_choice"] = one_of(self.choices)


def one_of(words: Iterable[object]) -> str:
    """What is allowed where the choice is among few words."""
    return f"one of: {', '.join(str(word) for word in words)}"


class InstantField(serializers.DateTimeField):
    """An RFC 3339 time with its offset: without one it could be the session's clock or Greenwich's."""

    default_error_messages: ClassVar[dict[str, Any]] = {"invalid": INSTANT, "date": INSTANT}

    def enforce_timezone(self, value: datetime) -> datetime:
        if value.tzinfo is None:
            self.fail("invalid")
        return super().enforce_timezone(value)


@extend_schema_field({"type": "string", "format": "date-time"})
class InstantText(serializers.CharField):
    """An RFC 3339 time with its offset, kept as it was written (it goes into a document, not a column)."""

    default_error_messages: ClassVar[dict[str, Any]] = {"instant": INSTANT}

    def to_internal_value(self, data: Any) -> str:
        text = super().to_internal_value(data)
        try:
            instant = parse_datetime(text)
        except ValueError:
            instant = None
        if instant is None or instant.tzinfo is None:
            self.fail("instant")
        return text


@extend_schema_field({"not": {"type": "null"}})
class AnyValue(serializers.JSONField):
    """Whatever JSON holds, but for null."""


class Reference(serializers.PrimaryKeyRelatedField[Any]):
    """The id of a row that the caller may see; any other id is well formed and unusable (422)."""

    default_error_messages: ClassVar[dict[str, Any]] = {UNUSABLE: "the id of a row of yours ({noun})"}

    def __init__(self, model: type[M], **options: Any) -> None:
        self.model = model
        super().__init__(queryset=model._default_manager.all(), pk_field=UUID_FIELD, **options)

    def get_queryset(self) -> models.QuerySet[Any]:
        return self.model.objects.visible_to(self.context["request"].user)  # type: ignore[attr-defined,no-any-return]

    def to_internal_value(self, data: Any) -> Any:
        try:
            return self.get_queryset().get(pk=UUID_FIELD.to_internal_value(data))
        except ObjectDoesNotExist:
            self.fail(UNUSABLE, noun=self.model._meta.verbose_name)


class StrictSerializer(serializers.Serializer[Any]):
    """A body whose every key is known."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping):
            refuse_unknown(data, self.fields)
        return super().to_internal_value(data)


class ModelShape(serializers.ModelSerializer[M]):
    """Shape of a record's body from its columns, with the same ranges whichever database is behind them."""

    more_columns: ClassVar[tuple[str, ...]] = ()
    """Columns that `more_of` looks at."""

    @classmethod
    def more_of(cls, rows: Sequence[Mapping[str, Any]]) -> Mapping[Any, Mapping[str, Any]]:
        """What the rows of a list have beside their columns, by the row's id; for all of them together."""
        return {}

    @classmethod
    def hidden_from(cls, user: object) -> Collection[str]:
        """The keys that this caller is not shown."""
        return ()

    serializer_field_mapping: ClassVar[dict[Any, Any]] = {
        **serializers.ModelSerializer.serializer_field_mapping,
        models.DateTimeField: InstantField,
        models.FloatField: NumberField,
        models.PositiveIntegerField: WholeNumberField,
        models.PositiveSmallIntegerField: WholeNumberField,
    }

    serializer_choice_field = OneOf

    def build_standard_field(self, field_name: str, model_field: models.Field[Any, Any]) -> Any:
        field_class, options = super().build_standard_field(field_name, model_field)
        if isinstance(model_field, models.IntegerField):
            small = isinstance(model_field, models.PositiveSmallIntegerField)
            options |= {"min_value": 0, "max_value": SMALL_MOST if small else WHOLE_MOST}
        return field_class, options


class StrictModelSerializer(ModelShape[M]):
    """What a record's body may say; uniqueness and rules are left to the service."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping):
            refuse_unknown(data, self.fields)
        return super().to_internal_value(data)

    def get_validators(self) -> list[Any]:
        return []


def refuse_unknown(data: Mapping[str, Any], fields: Iterable[str]) -> None:
    """Refuse a body with keys that the route does not know, naming those allowed."""
    known = sorted(fields)
    names = f"one of {', '.join(known)}"
    if unknown := {key: [names] for key in data if key not in known}:
        raise serializers.ValidationError(unknown)


def names_of_columns(serializer: serializers.BaseSerializer[Any], path: str = "") -> dict[str, str]:
    """The key that the body has for each column which goes by another name there."""
    names: dict[str, str] = {}
    for name, field in getattr(serializer, "fields", {}).items():
        if isinstance(field, serializers.Serializer) and field.source == "*":
            names |= names_of_columns(field, f"{path}{name}.")
        elif field.source != name:
            names[str(field.source)] = f"{path}{name}"
    return names


def resting_values(serializer: StrictModelSerializer[Any]) -> dict[str, Any]:
    """What a PUT gives back to the fields that its body leaves out: the value that a new record would have."""
    columns = {column.name: column for column in _model_of(serializer)._meta.get_fields()}
    values: dict[str, Any] = {}
    for field in serializer.fields.values():
        inner = field.fields.values() if isinstance(field, serializers.Serializer) and field.source == "*" else [field]
        for part in inner:
            column = columns.get(str(part.source))
            if part.required or not isinstance(column, models.Field):
                continue
            value = [] if column.many_to_many else column.get_default()
            if value is not None or column.null:
                values[column.name] = value
    return values


def _model_of(serializer: serializers.ModelSerializer[Any]) -> type[models.Model]:
    model: type[models.Model] = serializer.Meta.model
    return model

"""Mappings: how the studio reads a device's own fields, remembered for its next file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from analysis.readers.channels import CHANNELS, TIME
from analysis.readers.mapping_document import MOST_LETTERS, mapping_document
from studio.api.base import RecordViewSet
from studio.api.filters import StudioFilters
from studio.api.shapes import ModelShape, NumberField, OneOf, StrictModelSerializer, StrictSerializer
from studio.records.models import DeviceMapping
from studio.records.services.mappings import mapping_create, mapping_delete, mapping_update


class MappedField(StrictSerializer):
    """One field of the device and where it goes: by its unit, or as value times scale plus offset."""

    field = serializers.CharField(max_length=MOST_LETTERS, help_text="as the file has it")
    channel = OneOf([*CHANNELS, TIME], allow_null=True, help_text="null: it is left unread")
    unit = serializers.CharField(max_length=20, required=False, allow_null=True, help_text="such as km/h")
    scale = NumberField(required=False, allow_null=True)
    offset = NumberField(required=False, allow_null=True)


class MappingIn(StrictModelSerializer[DeviceMapping]):
    fields = MappedField(many=True)  # type: ignore[assignment]  # the metaclass takes it away

    class Meta:
        model = DeviceMapping
        fields = ("device_key", "name", "fields")
        extra_kwargs: ClassVar[dict[str, Any]] = {
            "device_key": {"help_text": "from the preview of one of its recordings; it stays as it was made"}
        }


class MappingOut(ModelShape[DeviceMapping]):
    fields = serializers.SerializerMethodField("entries_of")  # type: ignore[assignment]  # as above

    class Meta:
        model = DeviceMapping
        fields = ("id", "device_key", "name", "fields", "created_at", "updated_at")

    more_columns = ("rules",)

    @classmethod
    def more_of(cls, rows: Sequence[Mapping[str, Any]]) -> Mapping[Any, Mapping[str, Any]]:
        return {row["id"]: {"fields": mapping_document(row["rules"])["fields"]} for row in rows}

    @extend_schema_field(MappedField(many=True))
    def entries_of(self, mapping: DeviceMapping) -> list[dict[str, Any]]:
        entries: list[dict[str, Any]] = mapping_document(mapping.rules)["fields"]
        return entries


class MappingFilters(StudioFilters):
    device_key = filters.CharFilter()


class MappingViewSet(RecordViewSet[DeviceMapping]):
    route = "mappings"
    queryset = DeviceMapping.objects.all()
    into, out, filterset_class = MappingIn, MappingOut, MappingFilters
    record_create = staticmethod(mapping_create)
    record_update = staticmethod(mapping_update)
    record_delete = staticmethod(mapping_delete)

"""Setups: the full state of a test. A setup that a run uses cannot change (409): a change makes a new one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from studio.api.base import RecordViewSet
from studio.api.filters import StudioFilters
from studio.api.shapes import ModelShape, NumberField, Reference, StrictModelSerializer, StrictSerializer
from studio.records.models import Bike, EquipmentItem, Position, Setup, SetupItem
from studio.records.services.setups import setup_create, setup_delete, setup_update

FIELDS = ("bike", "label", "position", "items", "tyre_pressure_kpa", "clothing", "bottles", "system_mass_kg")


class TyrePressure(StrictSerializer):
    front = NumberField(required=False)
    rear = NumberField(required=False)


class SetupIn(StrictModelSerializer[Setup]):
    bike = Reference(Bike)
    position = Reference(Position, required=False, allow_null=True)
    items = serializers.DictField(
        child=Reference(EquipmentItem), required=False, help_text="slot to the id of the item in it"
    )
    tyre_pressure_kpa = TyrePressure(required=False)

    class Meta:
        model = Setup
        fields = FIELDS


class SetupOut(ModelShape[Setup]):
    items = serializers.SerializerMethodField()
    tyre_pressure_kpa = serializers.DictField(child=NumberField())

    class Meta:
        model = Setup
        fields = ("id", *FIELDS, "created_at", "updated_at")

    @classmethod
    def more_of(cls, rows: Sequence[Mapping[str, Any]]) -> Mapping[Any, Mapping[str, Any]]:
        more: dict[Any, dict[str, Any]] = {row["id"]: {"items": {}} for row in rows}
        slots = SetupItem.objects.filter(setup__in=list(more)).order_by("slot")
        for setup, slot, item in slots.values_list("setup_id", "slot", "item_id"):
            more[setup]["items"][slot] = str(item)
        return more

    @extend_schema_field({"type": "object", "additionalProperties": {"type": "string", "format": "uuid"}})
    def get_items(self, setup: Setup) -> dict[str, str]:
        return {slot.slot: str(slot.item_id) for slot in setup.slots.all()}


class SetupFilters(StudioFilters):
    bike = filters.UUIDFilter(field_name="bike_id")
    session = filters.UUIDFilter(field_name="session_links__session_id")


class SetupViewSet(RecordViewSet[Setup]):
    route = "setups"
    queryset = Setup.objects.prefetch_related("slots")
    into, out, filterset_class = SetupIn, SetupOut, SetupFilters
    record_create = staticmethod(setup_create)
    record_update = staticmethod(setup_update)
    record_delete = staticmethod(setup_delete)

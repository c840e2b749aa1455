"""Equipment items: single pieces of a product, studio stock or a rider's own."""

from __future__ import annotations

from django_filters import rest_framework as filters

from studio.api.base import RecordViewSet
from studio.api.equipment_history import WithHistory
from studio.api.filters import StudioFilters
from studio.api.shapes import ModelShape, Reference, StrictModelSerializer
from studio.records.models import EquipmentItem, Product, Rider
from studio.records.services.equipment import item_create, item_delete, item_update

FIELDS = ("product", "rider", "size", "serial", "acquired_on", "retired_on")


class EquipmentItemIn(StrictModelSerializer[EquipmentItem]):
    product = Reference(Product)
    rider = Reference(Rider, required=False, allow_null=True, help_text="null: studio stock")

    class Meta:
        model = EquipmentItem
        fields = FIELDS


class EquipmentItemOut(ModelShape[EquipmentItem]):
    class Meta:
        model = EquipmentItem
        fields = ("id", *FIELDS, "created_at", "updated_at")


class EquipmentItemFilters(StudioFilters):
    product = filters.UUIDFilter(field_name="product_id")
    rider = filters.UUIDFilter(field_name="rider_id")


class EquipmentItemViewSet(WithHistory, RecordViewSet[EquipmentItem]):
    route = "equipment-items"
    queryset = EquipmentItem.objects.all()
    into, out, filterset_class = EquipmentItemIn, EquipmentItemOut, EquipmentItemFilters
    record_create = staticmethod(item_create)
    record_update = staticmethod(item_update)
    record_delete = staticmethod(item_delete)

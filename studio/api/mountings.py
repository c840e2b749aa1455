"""Mountings: an item on a bike or on a rider, from when to when."""

from __future__ import annotations

from django_filters import rest_framework as filters

from studio.api.base import RecordViewSet
from studio.api.filters import StudioFilters
from studio.api.shapes import ModelShape, Reference, StrictModelSerializer
from studio.records.models import Bike, EquipmentItem, Mounting, Rider
from studio.records.services.equipment import mounting_create, mounting_delete, mounting_update

FIELDS = ("item", "bike", "rider", "slot", "mounted_at", "removed_at")


class MountingIn(StrictModelSerializer[Mounting]):
    item = Reference(EquipmentItem)
    bike = Reference(Bike, required=False, allow_null=True)
    rider = Reference(Rider, required=False, allow_null=True)

    class Meta:
        model = Mounting
        fields = FIELDS


class MountingOut(ModelShape[Mounting]):
    class Meta:
        model = Mounting
        fields = ("id", *FIELDS, "created_at", "updated_at")


class MountingFilters(StudioFilters):
    item = filters.UUIDFilter(field_name="item_id")
    bike = filters.UUIDFilter(field_name="bike_id")
    rider = filters.UUIDFilter(field_name="rider_id")


class MountingViewSet(RecordViewSet[Mounting]):
    route = "mountings"
    queryset = Mounting.objects.all()
    into, out, filterset_class = MountingIn, MountingOut, MountingFilters
    record_create = staticmethod(mounting_create)
    record_update = staticmethod(mounting_update)
    record_delete = staticmethod(mounting_delete)

"""Bikes of riders."""

from __future__ import annotations

from django_filters import rest_framework as filters

from studio.api.base import RecordViewSet
from studio.api.filters import StudioFilters
from studio.api.shapes import ModelShape, Reference, StrictModelSerializer
from studio.records.models import Bike, Rider
from studio.records.services.bikes import bike_create, bike_delete, bike_update

FIELDS = (
    "rider",
    "name",
    "kind",
    "frame",
    "size",
    "mass_kg",
    "wheel_circumference_m",
    "wheel_inertia_kg_m2",
    "drivetrain_efficiency",
)


class BikeIn(StrictModelSerializer[Bike]):
    rider = Reference(Rider)

    class Meta:
        model = Bike
        fields = FIELDS


class BikeOut(ModelShape[Bike]):
    class Meta:
        model = Bike
        fields = ("id", *FIELDS, "created_at", "updated_at")


class BikeFilters(StudioFilters):
    rider = filters.UUIDFilter(field_name="rider_id")


class BikeViewSet(RecordViewSet[Bike]):
    route = "bikes"
    queryset = Bike.objects.all()
    into, out, filterset_class = BikeIn, BikeOut, BikeFilters
    record_create = staticmethod(bike_create)
    record_update = staticmethod(bike_update)
    record_delete = staticmethod(bike_delete)

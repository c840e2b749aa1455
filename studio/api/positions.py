"""Positions: coordinates of bike and rider, each a number whose name carries its unit."""

from __future__ import annotations

from django_filters import rest_framework as filters
from rest_framework import serializers

from studio.api.base import RecordViewSet
from studio.api.filters import StudioFilters
from studio.api.shapes import ModelShape, NumberField, Reference, StrictModelSerializer
from studio.records.models import Bike, Position
from studio.records.services.bikes import position_create, position_delete, position_update

FIELDS = ("bike", "name", "coordinates")


class PositionIn(StrictModelSerializer[Position]):
    bike = Reference(Bike)
    coordinates = serializers.DictField(child=NumberField(), help_text='such as {"pad_stack_mm": 610}')

    class Meta:
        model = Position
        fields = FIELDS


class PositionOut(ModelShape[Position]):
    coordinates = serializers.DictField(child=NumberField())

    class Meta:
        model = Position
        fields = ("id", "number", *FIELDS, "created_at", "updated_at")


class PositionFilters(StudioFilters):
    bike = filters.UUIDFilter(field_name="bike_id")


class PositionViewSet(RecordViewSet[Position]):
    route = "positions"
    queryset = Position.objects.all()
    into, out, filterset_class = PositionIn, PositionOut, PositionFilters
    record_create = staticmethod(position_create)
    record_update = staticmethod(position_update)
    record_delete = staticmethod(position_delete)

"""Instruments."""

from __future__ import annotations

from django_filters import rest_framework as filters

from studio.api.base import RecordViewSet
from studio.api.filters import StudioFilters
from studio.api.shapes import ModelShape, StrictModelSerializer
from studio.records.models import Instrument, InstrumentKind
from studio.records.services.instruments import instrument_create, instrument_delete, instrument_update

FIELDS = ("kind", "name", "serial", "stated_accuracy", "retired_on")


class InstrumentIn(StrictModelSerializer[Instrument]):
    class Meta:
        model = Instrument
        fields = FIELDS


class InstrumentOut(ModelShape[Instrument]):
    class Meta:
        model = Instrument
        fields = ("id", *FIELDS, "created_at", "updated_at")


class InstrumentFilters(StudioFilters):
    kind = filters.ChoiceFilter(choices=InstrumentKind.choices)


class InstrumentViewSet(RecordViewSet[Instrument]):
    route = "instruments"
    queryset = Instrument.objects.all()
    into, out, filterset_class = InstrumentIn, InstrumentOut, InstrumentFilters
    record_create = staticmethod(instrument_create)
    record_update = staticmethod(instrument_update)
    record_delete = staticmethod(instrument_delete)

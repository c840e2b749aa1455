"""Calibrations: each check of an instrument, and when the next is due."""

from __future__ import annotations

from django_filters import rest_framework as filters

from studio.api.base import RecordViewSet
from studio.api.filters import StudioFilters
from studio.api.shapes import ModelShape, Reference, StrictModelSerializer
from studio.records.models import Calibration, Instrument
from studio.records.services.instruments import calibration_create, calibration_delete, calibration_update

FIELDS = ("instrument", "done_on", "figure", "figure_unit", "result", "due_on")


class CalibrationIn(StrictModelSerializer[Calibration]):
    instrument = Reference(Instrument)

    class Meta:
        model = Calibration
        fields = FIELDS


class CalibrationOut(ModelShape[Calibration]):
    class Meta:
        model = Calibration
        fields = ("id", *FIELDS, "created_at", "updated_at")


class CalibrationFilters(StudioFilters):
    instrument = filters.UUIDFilter(field_name="instrument_id")
    due_before = filters.DateFilter(field_name="due_on", lookup_expr="lt")


class CalibrationViewSet(RecordViewSet[Calibration]):
    route = "calibrations"
    queryset = Calibration.objects.all()
    into, out, filterset_class = CalibrationIn, CalibrationOut, CalibrationFilters
    record_create = staticmethod(calibration_create)
    record_update = staticmethod(calibration_update)
    record_delete = staticmethod(calibration_delete)

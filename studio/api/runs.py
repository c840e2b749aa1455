"""Runs: one ride of one setup, a recording or a part of one; kept, or left out and why."""

from __future__ import annotations

from typing import Any, ClassVar

from django_filters import rest_framework as filters
from rest_framework import serializers

from studio.api.base import RecordViewSet
from studio.api.filters import StudioFilters
from studio.api.shapes import InstantField, ModelShape, Reference, StrictModelSerializer
from studio.records.models import FieldSession, Recording, Run, Setup
from studio.records.services.runs import run_create, run_delete, run_update

FIELDS = ("session", "number", "setup", "recording", "lap", "system_mass_kg", "left_out", "note")


class Cut:
    """`from` and `to` of the bundle: no attribute can have the first name."""

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        fields: dict[str, serializers.Field[Any, Any, Any, Any]] = super().get_fields()  # type: ignore[misc]
        fields["from"] = InstantField(source="started_at", required=False, allow_null=True, help_text="inclusive")
        fields["to"] = InstantField(source="ended_at", required=False, allow_null=True, help_text="exclusive")
        return fields


class RunIn(Cut, StrictModelSerializer[Run]):
    session = Reference(FieldSession)
    setup = Reference(Setup)
    recording = Reference(Recording, required=False, allow_null=True)

    class Meta:
        model = Run
        fields = FIELDS
        extra_kwargs: ClassVar[dict[str, Any]] = {"number": {"required": False, "help_text": "without one: the next"}}


class RunOut(Cut, ModelShape[Run]):
    class Meta:
        model = Run
        fields = ("id", *FIELDS, "created_at", "updated_at")


class RunFilters(StudioFilters):
    session = filters.UUIDFilter(field_name="session_id")
    setup = filters.UUIDFilter(field_name="setup_id")
    recording = filters.UUIDFilter(field_name="recording_id")


class RunViewSet(RecordViewSet[Run]):
    route = "runs"
    queryset = Run.objects.all()
    into, out, filterset_class = RunIn, RunOut, RunFilters
    record_create = staticmethod(run_create)
    record_update = staticmethod(run_update)
    record_delete = staticmethod(run_delete)

"""The body that mends a setup which was entered wrong: the old one stays as it was ridden, a new one takes its runs."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from studio.api.setups import TyrePressure
from studio.api.shapes import NumberField, Reference, StrictSerializer, WholeNumberField
from studio.records.models import EquipmentItem, Position, Setup


class MendIn(StrictSerializer):
    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        fields: dict[str, serializers.Field[Any, Any, Any, Any]] = super().get_fields()
        fields["label"] = serializers.CharField(max_length=60, required=False)  # no attribute: fields have a `label`
        return fields

    setup = Reference(Setup, help_text="the one that was entered wrong")
    reason = serializers.CharField(max_length=300)
    runs = serializers.ListField(
        child=WholeNumberField(min_value=1), required=False, help_text="numbers of the runs that move; none given: all"
    )
    position = Reference(Position, required=False, allow_null=True)
    items = serializers.DictField(
        child=Reference(EquipmentItem, allow_null=True), required=False, help_text="slots that change; null empties one"
    )
    tyre_pressure_kpa = TyrePressure(required=False)
    clothing = serializers.CharField(max_length=300, required=False, allow_null=True, allow_blank=True)
    bottles = WholeNumberField(min_value=0, max_value=2**15 - 1, required=False, allow_null=True)
    system_mass_kg = NumberField(required=False, allow_null=True)


def asked(given: dict[str, Any]) -> dict[str, Any]:
    """The checked body as the service takes it."""
    own = {name: given.pop(name) for name in ("setup", "reason")}
    return {**own, "numbers": given.pop("runs", None), "changes": given}

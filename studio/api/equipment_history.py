"""The history of a piece of equipment, or of all pieces of a product: the same body for both."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from analysis.results.equipment_history import MOST_TESTS, equipment_history
from studio.api.base import ReadViewSet
from studio.records.models import EquipmentItem, FieldSession, Mounting


class RiddenOut(serializers.Serializer[Any]):
    """Sums over runs whose recording an analysis has read."""

    runs = serializers.IntegerField()
    runs_not_read = serializers.IntegerField(help_text="not in the sums: their session was not analysed yet")
    distance_m = serializers.FloatField()
    time_s = serializers.FloatField(help_text="in motion")


class HistoryItem(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    product = serializers.UUIDField(source="product_id")
    name = serializers.CharField(source="product.name")
    serial = serializers.CharField()
    rider = serializers.UUIDField(source="rider_id", allow_null=True)


class HistoryMounting(serializers.Serializer[Any]):
    item = serializers.UUIDField(source="item_id")
    slot = serializers.CharField()
    bike = serializers.UUIDField(source="bike_id", allow_null=True)
    bike_name = serializers.CharField(source="bike.name", default=None, allow_null=True)
    rider = serializers.UUIDField(source="rider_id", allow_null=True)
    rider_code = serializers.CharField(source="rider.code", default=None, allow_null=True)
    mounted_at = serializers.DateTimeField()
    removed_at = serializers.DateTimeField(allow_null=True)


class HistoryOutcome(serializers.Serializer[Any]):
    """A comparison of the session's newest analysis; its words are those of `session-result/1`."""

    analysis = serializers.UUIDField()
    of_this = serializers.BooleanField(help_text="false: the equipment was ridden on both sides")
    reference = serializers.CharField(source="comparison.reference")
    changed = serializers.CharField(source="comparison.changed")
    changes = serializers.ListField(child=serializers.DictField(), source="comparison.changes")
    verdict = serializers.CharField(source="comparison.verdict")
    ridden_delta_m2 = serializers.FloatField(source="comparison.ridden_delta_m2", allow_null=True)
    ridden_ci95_m2 = serializers.ListField(
        child=serializers.FloatField(), source="comparison.ridden_ci95_m2", allow_null=True
    )


class HistoryCheck(serializers.Serializer[Any]):
    done_on = serializers.DateField()
    figure = serializers.FloatField(allow_null=True)
    figure_unit = serializers.CharField()
    result = serializers.CharField()
    due_on = serializers.DateField(allow_null=True)


class HistoryInstrument(serializers.Serializer[Any]):
    id = serializers.UUIDField(source="instrument.pk")
    kind = serializers.CharField(source="instrument.kind")
    name = serializers.CharField(source="instrument.name")
    serial = serializers.CharField(source="instrument.serial")
    check = HistoryCheck(allow_null=True, help_text="the last one up to the day of the test")


class HistoryTest(serializers.Serializer[Any]):
    session = serializers.UUIDField(source="session.pk")
    title = serializers.CharField(source="session.title")
    date = serializers.DateField(source="session.date")
    rider = serializers.UUIDField(source="session.rider_id")
    rider_code = serializers.CharField(source="session.rider.code")
    bike = serializers.UUIDField(source="session.bike_id")
    bike_name = serializers.CharField(source="session.bike.name")
    slots = serializers.ListField(child=serializers.CharField())
    setups = serializers.ListField(child=serializers.CharField(), help_text="labels of those that had it")
    ridden = RiddenOut()
    results = HistoryOutcome(many=True, source="outcomes")
    instruments = HistoryInstrument(many=True)


class EquipmentHistoryOut(serializers.Serializer[Any]):
    """What the caller may see of it, newest first."""

    items = HistoryItem(many=True)
    mountings = HistoryMounting(many=True)
    ridden = RiddenOut()
    tests = HistoryTest(many=True, help_text=f"the newest {MOST_TESTS} at most")
    tests_in_all = serializers.IntegerField()


def history_shown(request: Request, items: Iterable[EquipmentItem]) -> dict[str, Any]:
    """The body for these items, of mountings and sessions that the caller may see."""
    pieces = list(items)
    history = equipment_history(
        pieces,
        mountings=Mounting.objects.visible_to(request.user),
        sessions=FieldSession.objects.visible_to(request.user),
    )
    fields = {name: getattr(history, name) for name in ("mountings", "ridden", "tests", "tests_in_all")}
    return dict(EquipmentHistoryOut({"items": pieces, **fields}).data)


class WithHistory(ReadViewSet[Any]):
    """Adds `history/` to a viewset whose rows are items or have items."""

    def pieces(self, row: Any) -> Iterable[EquipmentItem]:
        """The items whose history is asked for."""
        visible = EquipmentItem.objects.visible_to(self.request.user).select_related("product")
        return visible.filter(pk=row.pk) if isinstance(row, EquipmentItem) else visible.filter(product=row)

    @extend_schema(responses=EquipmentHistoryOut)
    @action(detail=True)
    def history(self, request: Request, pk: str) -> Response:
        """Where it was mounted, how far it was ridden, its tests with their results, and what measured them."""
        return Response(history_shown(request, self.pieces(self.get_object())))

"""What the records say of the equipment before the tested day: frozen beside the other facts.

Results of other riders stay out, a report is handed to one: of their tests only number, distance and time are told.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from analysis.results.equipment_history import EquipmentHistory, EquipmentTest, Outcome, Ridden, equipment_history
from studio.records.models import EquipmentItem, FieldSession, Mounting, SetupItem


def equipment(session: FieldSession) -> list[dict[str, Any]]:
    """Each item of the session's setups with its history up to that day."""
    fills = SetupItem.objects.filter(setup__session_links__session=session).select_related("item__product")
    pieces: dict[UUID, EquipmentItem] = {}
    slots: dict[UUID, list[str]] = {}
    for fill in fills.order_by("slot", "item_id"):
        pieces[fill.item_id] = fill.item
        if fill.slot not in slots.setdefault(fill.item_id, []):
            slots[fill.item_id].append(fill.slot)
    return [_item(session, item, slots[key]) for key, item in pieces.items()]


def _item(session: FieldSession, item: EquipmentItem, slots: list[str]) -> dict[str, Any]:
    own = _history(session, item, _before(session).filter(rider=session.rider))
    others = _history(session, item, _before(session).exclude(rider=session.rider))
    return {
        "name": item.product.name,
        "serial": item.serial,
        "slots": slots,
        "acquired_on": item.acquired_on and item.acquired_on.isoformat(),
        "mounted": [_mounting(one) for one in own.mountings],
        "tests": [_test(one) for one in own.tests],
        "ridden": _ridden(own.ridden),
        "with_other_riders": {"tests": others.tests_in_all, **_ridden(others.ridden)},
    }


def _before(session: FieldSession) -> QuerySet[FieldSession]:
    return FieldSession.objects.filter(studio=session.studio, date__lt=session.date)


def _history(session: FieldSession, item: EquipmentItem, sessions: QuerySet[FieldSession]) -> EquipmentHistory:
    """With the mountings on this rider or a bike of theirs, up to the day."""
    there = Mounting.objects.filter(studio=session.studio, mounted_at__date__lte=session.date)
    own = there.filter(rider=session.rider) | there.filter(bike__rider=session.rider)
    return equipment_history([item], mountings=own, sessions=sessions)


def _ridden(ridden: Ridden) -> dict[str, Any]:
    return {
        "runs": ridden.runs,
        "runs_not_read": ridden.runs_not_read,
        "distance_m": ridden.distance_m,
        "time_s": ridden.time_s,
    }


def _mounting(mounting: Mounting) -> dict[str, Any]:
    return {
        "on": mounting.bike.name if mounting.bike else "rider",
        "slot": mounting.slot,
        "mounted_at": mounting.mounted_at.isoformat(),
        "removed_at": mounting.removed_at and mounting.removed_at.isoformat(),
    }


def _test(test: EquipmentTest) -> dict[str, Any]:
    return {
        "date": test.session.date.isoformat(),
        "title": test.session.title,
        "setups": list(test.setups),
        "results": [_result(outcome) for outcome in test.outcomes],
        "instruments": [
            {
                "name": one.instrument.name,
                "serial": one.instrument.serial,
                "check": one.check and {"done_on": one.check.done_on.isoformat(), "result": one.check.result},
            }
            for one in test.instruments
        ],
    }


def _result(outcome: Outcome) -> Mapping[str, Any]:
    kept = ("reference", "changed", "verdict", "ridden_delta_m2", "ridden_ci95_m2")
    return {"of_this": outcome.of_this, **{key: outcome.comparison[key] for key in kept}}

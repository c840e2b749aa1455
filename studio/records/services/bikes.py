"""Bikes and the positions on them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.db.models import Max

from analysis.readers.faults import Fault, shown
from studio.records.errors import Conflict, fault
from studio.records.models import Bike, Position, Run, Studio, User
from studio.records.services import write

BIKE_FIELDS = (
    "name",
    "kind",
    "frame",
    "size",
    "mass_kg",
    "wheel_circumference_m",
    "wheel_inertia_kg_m2",
    "drivetrain_efficiency",
)
POSITION_FIELDS = ("name", "coordinates")
POSITION_IS_FROZEN = "A run was ridden in this position, so it cannot change; make a new position."


def bike_create(*, studio: Studio, by: User | None, **fields: object) -> Bike:
    """Enter a rider's bike."""
    return write.create(Bike, studio=studio, by=by, fields=fields)


def bike_update(*, record: Bike, by: User | None, version: int, changes: Mapping[str, Any]) -> Bike:
    """Change a bike; it stays with its rider."""
    return write.update(record, by=by, version=version, changes=changes, changeable=BIKE_FIELDS)


def bike_delete(*, record: Bike, by: User | None, version: int) -> None:
    """Delete a bike that nothing hangs on."""
    write.delete(record, by=by, version=version)


def position_create(*, studio: Studio, by: User | None, bike: Bike, **fields: object) -> Position:
    """Enter a position; it gets the bike's next number."""
    with write.change_of(studio):
        last = Position.objects.filter(bike=bike).aggregate(last=Max("number"))["last"] or 0
        values = {"number": last + 1, **fields, "bike": bike}
        return write.create(Position, studio=studio, by=by, fields=values, rules=[_coordinates_are_numbers])


def position_update(*, record: Position, by: User | None, version: int, changes: Mapping[str, Any]) -> Position:
    """Change a position that no run was ridden in yet."""
    with write.change_of(record.studio):
        if Run.objects.filter(setup__position=record).exists():
            raise Conflict(POSITION_IS_FROZEN)
        return write.update(
            record,
            by=by,
            version=version,
            changes=changes,
            changeable=POSITION_FIELDS,
            rules=[_coordinates_are_numbers],
        )


def position_delete(*, record: Position, by: User | None, version: int) -> None:
    """Delete a position that no setup names."""
    write.delete(record, by=by, version=version)


def _coordinates_are_numbers(position: Position) -> Iterable[Fault]:
    return number_faults("coordinates", position.coordinates, "a number; its name carries the unit, as pad_stack_mm")


def number_faults(key: str, values: object, allowed: str) -> Iterable[Fault]:
    """Everything in a mapping of names to numbers that is no number."""
    if not isinstance(values, dict):
        yield fault(key, shown(values), "an object of names and numbers")
        return
    for name, value in values.items():
        if isinstance(value, bool) or not isinstance(value, int | float):
            yield fault(f"{key}.{name}", shown(value), allowed)

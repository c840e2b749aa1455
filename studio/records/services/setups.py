"""Setups: free to change until a run uses them, frozen from then on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from analysis.readers.faults import Fault, shown
from studio.records.errors import Conflict, Unusable, fault
from studio.records.models import EquipmentItem, Setup, SetupItem, Studio, User
from studio.records.services import write
from studio.records.services.bikes import number_faults
from studio.records.services.checking import check

SETUP_FIELDS = ("label", "position", "tyre_pressure_kpa", "clothing", "bottles", "system_mass_kg")
SETUP_IS_FROZEN = "A run uses this setup, so it cannot change; make a new setup."


def setup_create(
    *, studio: Studio, by: User | None, items: Mapping[str, EquipmentItem] | None = None, **fields: object
) -> Setup:
    """Enter a setup with an item for each slot that matters."""
    with write.change_of(studio):
        setup = write.create(Setup, studio=studio, by=by, fields=fields, rules=[_whole])
        _fill_slots(setup, items or {})
    return setup


def setup_update(*, record: Setup, by: User | None, version: int, changes: Mapping[str, Any]) -> Setup:
    """Change a setup that no run uses yet; `items` replaces all slots."""
    write.refuse_unknown(record, changes, (*SETUP_FIELDS, "items"))
    own = {name: value for name, value in changes.items() if name != "items"}
    with write.change_of(record.studio):
        if record.runs.exists():
            raise Conflict(SETUP_IS_FROZEN)
        setup = write.update(record, by=by, version=version, changes=own, changeable=SETUP_FIELDS, rules=[_whole])
        if "items" in changes:
            setup.slots.all().delete()
            _fill_slots(setup, changes["items"])
    return setup


def setup_delete(*, record: Setup, by: User | None, version: int) -> None:
    """Delete a setup that no run and no session uses."""
    write.delete(record, by=by, version=version)


def _fill_slots(setup: Setup, items: Mapping[str, EquipmentItem]) -> None:
    for slot, item in items.items():
        if item.studio_id != setup.studio_id:
            found = fault(f"items.{slot}", shown(str(item.pk)), "an item of this studio")
            raise Unusable("A setup takes the items of its own studio.", faults=(found,))
        row = SetupItem(setup=setup, slot=slot, item=item)
        check(row)
        row.save(force_insert=True)


def _whole(setup: Setup) -> Iterable[Fault]:
    if setup.position is not None and setup.position.bike_id != setup.bike_id:
        yield fault("position", shown(str(setup.position)), "a position on the setup's bike")
    yield from number_faults("tyre_pressure_kpa", setup.tyre_pressure_kpa, "a pressure in kPa")

"""Instruments and their checks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from studio.records.models import Calibration, Instrument, Studio, User
from studio.records.services import write

INSTRUMENT_FIELDS = ("kind", "name", "serial", "stated_accuracy", "retired_on")
CALIBRATION_FIELDS = ("done_on", "figure", "figure_unit", "result", "due_on")


def instrument_create(*, studio: Studio, by: User | None, **fields: object) -> Instrument:
    """Enter an instrument."""
    return write.create(Instrument, studio=studio, by=by, fields=fields)


def instrument_update(*, record: Instrument, by: User | None, version: int, changes: Mapping[str, Any]) -> Instrument:
    """Correct or retire an instrument."""
    return write.update(record, by=by, version=version, changes=changes, changeable=INSTRUMENT_FIELDS)


def instrument_delete(*, record: Instrument, by: User | None, version: int) -> None:
    """Delete an instrument without calibrations."""
    write.delete(record, by=by, version=version)


def calibration_create(*, studio: Studio, by: User | None, **fields: object) -> Calibration:
    """Enter a check of an instrument."""
    return write.create(Calibration, studio=studio, by=by, fields=fields)


def calibration_update(
    *, record: Calibration, by: User | None, version: int, changes: Mapping[str, Any]
) -> Calibration:
    """Correct a check."""
    return write.update(record, by=by, version=version, changes=changes, changeable=CALIBRATION_FIELDS)


def calibration_delete(*, record: Calibration, by: User | None, version: int) -> None:
    """Delete a check that was entered by mistake."""
    write.delete(record, by=by, version=version)

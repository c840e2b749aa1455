"""Remembering what a correction changed, both values, and reading such a memory back. Undoing is `undoing.py`'s."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date
from typing import Any
from uuid import UUID

from django.db import models

from studio.records.models import Correction, CorrectionKind, FieldSession, Run, User

Columns = dict[str, Any]
BOOKKEEPING = {"studio", "created_at", "updated_at"}


def correction_note(
    *, session: FieldSession, kind: CorrectionKind, by: User | None, changes: Mapping[str, Any], reason: str = ""
) -> Correction:
    """Keep both values of an act, in the transaction of the act; its event is the act's own."""
    return Correction.objects.create(
        studio=session.studio,
        rider_id=session.rider_id,
        session_key=session.pk,
        session_name=str(session)[:300],
        kind=kind,
        reason=reason,
        changes=dict(changes),
        made_by=by,
    )


def columns_of(record: models.Model, names: Collection[str] | None = None) -> Columns:
    """The record's columns as plain JSON: those named, or all that are its own."""
    fields = record._meta.concrete_fields
    chosen = [one for one in fields if (one.name not in BOOKKEEPING if names is None else one.name in names)]
    return {field.name: _plain(getattr(record, field.attname)) for field in chosen}


def values_of_columns(model: type[models.Model], columns: Mapping[str, Any]) -> Columns:
    """The way back: the value of every column, a reference by its row.

    Raises the referenced model's `DoesNotExist` where a row that is named is gone.
    """
    values: Columns = {}
    for field in model._meta.concrete_fields:
        if field.name not in columns:
            continue
        value = columns[field.name]
        if field.is_relation and value is not None:
            assert field.related_model is not None
            values[field.name] = field.related_model._default_manager.get(pk=value)
        else:
            values[field.name] = field.to_python(value)
    return values


def links_of(session: FieldSession) -> list[list[Any]]:
    """The setups that a session tests, in order, and whether each is the reference."""
    return [[str(link.setup_id), link.reference] for link in session.setup_links.order_by("order")]


def run_step(run: Run, before: Columns, after: Columns) -> dict[str, Any]:
    """What happened to one run."""
    return {"id": str(run.pk), "number": run.number, "before": before, "after": after}


def kind_of_change(before: Columns, after: Columns) -> CorrectionKind | None:
    """What a change of a run is called; None where it is no correction that can be undone."""
    if before.get("setup") != after.get("setup"):
        return CorrectionKind.REASSIGNED
    if before.get("left_out") != after.get("left_out"):
        return CorrectionKind.LEFT_OUT if after["left_out"] else CorrectionKind.TAKEN_IN
    return None


def _plain(value: object) -> object:
    if isinstance(value, UUID):
        return str(value)
    return value.isoformat() if isinstance(value, date) else value

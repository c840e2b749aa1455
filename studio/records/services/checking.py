"""What is wrong with a record before it is written, as faults that name the field. Writing is `write.py`."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TypeVar
from uuid import UUID

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import models

from analysis.readers.faults import Fault, shown
from analysis.readers.ranges import crowd_faults, range_faults
from analysis.readers.schema import joined
from studio.records.bundle_keys import RECORDS
from studio.records.errors import Conflict, Unusable, fault, sentence
from studio.records.models import Membership, User

M = TypeVar("M", bound=models.Model)
Rule = Callable[[M], Iterable[Fault]]
UNIQUE_CODES = {"unique", "unique_together"}


def check(record: M, *, rules: Sequence[Rule[M]] = ()) -> None:
    """Refuse a record with everything that is wrong with it: first what cannot be used, then what is taken already."""
    faults = [*field_faults(record), *_stranger_faults(record)]
    if not faults:
        faults = [fault for rule in rules for fault in rule(record)]
    taken: list[Fault] = []
    if not faults:
        for code, fault in _constraint_faults(record):
            (taken if code in UNIQUE_CODES else faults).append(fault)
    faults = faults or list(_range_faults(record))
    noun = record._meta.verbose_name
    if faults:
        raise Unusable(sentence(f"This {noun} cannot be kept", faults), faults=tuple(faults))
    if taken:
        raise Conflict(sentence(f"This {noun} is there already", taken), faults=tuple(taken))


def field_faults(record: models.Model) -> list[Fault]:
    """What is wrong with single fields; costs no query."""
    unfit = [fault(key, *problem) for key, problem in _unfit_values(record)]
    if unfit:
        return unfit
    related = {field.name for field in record._meta.concrete_fields if field.is_relation}
    try:
        record.clean_fields(exclude={name for name in related if getattr(record, f"{name}_id") is not None})
    except ValidationError as error:
        return [
            fault(key, _given(record, key), _allowed(record, key, one))
            for key, errors in error.error_dict.items()
            for one in errors
        ]
    return []


def _given(record: models.Model, key: str) -> str:
    field = record._meta.get_field(key)
    assert isinstance(field, models.Field)
    value = field.value_from_object(record)
    return "nothing" if value in (None, "") else shown(value)


def _unfit_values(record: models.Model) -> Iterator[tuple[str, tuple[str, str]]]:
    """What one of the databases, or JSON, could not hold."""
    for field in record._meta.concrete_fields:
        for value in _leaves(field.value_from_object(record)):
            if isinstance(value, float) and not math.isfinite(value):
                yield field.name, (shown(value), "a finite number")
            if isinstance(value, str) and ("\0" in value or any("\ud800" <= sign <= "\udfff" for sign in value)):
                yield field.name, (shown(value), "a text without NUL or half characters")


def _leaves(value: object) -> Iterator[object]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield key
            yield from _leaves(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _leaves(inner)
    else:
        yield value


def _allowed(record: models.Model, key: str, error: ValidationError) -> str:
    field = record._meta.get_field(key)
    if error.code == "invalid_choice" and isinstance(field, models.Field) and field.choices:
        return "one of: " + ", ".join(str(value) for value, _ in field.flatchoices)
    if error.code == "max_length" and error.params:
        return f"at most {error.params['limit_value']} characters"
    words = {"blank": "something, not nothing", "null": "something, not nothing"}
    return words.get(str(error.code), " ".join(error.messages))


def _range_faults(record: models.Model) -> Iterator[Fault]:
    """What no bundle may say: a session made by hand is analysed and exported like one that came in."""
    for place, keys in RECORDS.get(type(record).__name__, {}).items():
        for key, name in keys.items():
            path, value = joined(place, key), getattr(record, name)
            for found in (*range_faults("", value, path), *crowd_faults("", value, path)):
                yield replace(found, key=name + found.key[len(path) :])


def _stranger_faults(record: models.Model) -> list[Fault]:
    """References to rows or people of another studio."""
    studio_id: UUID | None = getattr(record, "studio_id", None)
    if studio_id is None or isinstance(record, Membership):  # a membership is what makes a person belong
        return []
    faults = []
    for field in record._meta.concrete_fields:
        if not field.is_relation or getattr(record, field.attname) is None:
            continue
        other = getattr(record, field.name)
        if isinstance(other, User):
            at_home = Membership.objects.filter(user=other, studio_id=studio_id).exists()
        else:
            at_home = getattr(other, "studio_id", studio_id) == studio_id
        if not at_home:
            faults.append(fault(field.name, shown(str(other.pk)), f"a {other._meta.verbose_name} of this studio"))
    return faults


def _constraint_faults(record: models.Model) -> Iterator[tuple[str | None, Fault]]:
    try:
        record.validate_unique(exclude={"id"})
    except ValidationError as error:
        for key, errors in error.error_dict.items():
            given = "" if key == NON_FIELD_ERRORS else shown(str(getattr(record, key)))
            yield from ((one.code, fault(key, given, " ".join(one.messages))) for one in errors)
    for constraint in record._meta.constraints:
        names = _names(constraint)
        try:
            constraint.validate(type(record), record)
        except ValidationError as error:
            values = ", ".join(shown(getattr(record, name)) for name in names if name != "studio")
            code = "unique" if isinstance(constraint, models.UniqueConstraint) else error.code
            key = ", ".join(name for name in names if name != "studio")
            yield code, fault(key, values, str(constraint.violation_error_message))


def _names(constraint: models.BaseConstraint) -> list[str]:
    """The fields that a constraint speaks of, in its order."""
    if isinstance(constraint, models.UniqueConstraint):
        return list(constraint.fields)
    assert isinstance(constraint, models.CheckConstraint)
    condition = constraint.condition
    assert isinstance(condition, models.Q)
    return list(dict.fromkeys(name.split("__")[0] for name in _lookups(condition)))


def _lookups(condition: models.Q) -> Iterator[str]:
    for child in condition.children:
        if isinstance(child, models.Q):
            yield from _lookups(child)
        elif isinstance(child, tuple):
            yield child[0]

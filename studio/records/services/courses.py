"""Courses."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from studio.records.models import Course, Studio, User
from studio.records.services import write

COURSE_FIELDS = ("name", "kind", "length_m", "bearing_deg", "surface", "marks", "track_geometry")


def course_create(*, studio: Studio, by: User | None, **fields: object) -> Course:
    """Enter a course."""
    return write.create(Course, studio=studio, by=by, fields=fields)


def course_update(*, record: Course, by: User | None, version: int, changes: Mapping[str, Any]) -> Course:
    """Correct a course."""
    return write.update(record, by=by, version=version, changes=changes, changeable=COURSE_FIELDS)


def course_delete(*, record: Course, by: User | None, version: int) -> None:
    """Delete a course on which no session was ridden."""
    write.delete(record, by=by, version=version)

"""Where is ridden."""

from __future__ import annotations

from django.db import models

from studio.records.models.base import Record


class CourseKind(models.TextChoices):
    OUT_AND_BACK = "out_and_back", "out and back"
    LAP = "lap", "lap"
    TRACK = "track", "track"


class Course(Record):
    """A course; `length_m` is one way for an out and back, once round for a lap and a track."""

    name = models.CharField(max_length=200, blank=True)
    kind = models.CharField(max_length=20, choices=CourseKind)
    length_m = models.FloatField(null=True, blank=True)
    bearing_deg = models.FloatField(null=True, blank=True)
    surface = models.CharField(max_length=120, blank=True)
    marks = models.JSONField(default=list, blank=True)
    track_geometry = models.JSONField(default=dict, blank=True)

    class Meta(Record.Meta):
        constraints = [
            models.CheckConstraint(
                condition=models.Q(kind__in=CourseKind.values),
                name="course_kind_known",
                violation_error_message="A course is one of out_and_back, lap, track.",
            ),
            models.CheckConstraint(
                condition=models.Q(length_m__isnull=True) | models.Q(length_m__gt=0),
                name="course_length_positive",
                violation_error_message="A course's length is above 0 m.",
            ),
        ]

    def __str__(self) -> str:
        return self.name or self.get_kind_display()

"""Courses."""

from __future__ import annotations

from django_filters import rest_framework as filters
from rest_framework import serializers

from studio.api.base import RecordViewSet
from studio.api.filters import StudioFilters
from studio.api.shapes import AnyValue, ModelShape, StrictModelSerializer
from studio.records.models import Course, CourseKind
from studio.records.services.courses import course_create, course_delete, course_update

FIELDS = ("name", "kind", "length_m", "bearing_deg", "surface", "marks", "track_geometry")


class CourseIn(StrictModelSerializer[Course]):
    marks = serializers.ListField(child=AnyValue(), required=False)
    track_geometry = serializers.DictField(required=False)

    class Meta:
        model = Course
        fields = FIELDS


class CourseOut(ModelShape[Course]):
    marks = serializers.ListField(child=serializers.JSONField())
    track_geometry = serializers.DictField()

    class Meta:
        model = Course
        fields = ("id", *FIELDS, "created_at", "updated_at")


class CourseFilters(StudioFilters):
    kind = filters.ChoiceFilter(choices=CourseKind.choices)


class CourseViewSet(RecordViewSet[Course]):
    route = "courses"
    queryset = Course.objects.all()
    into, out, filterset_class = CourseIn, CourseOut, CourseFilters
    record_create = staticmethod(course_create)
    record_update = staticmethod(course_update)
    record_delete = staticmethod(course_delete)

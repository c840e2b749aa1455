"""Jobs and analyses in the owner's back room: looked at, never touched."""

from __future__ import annotations

from django.contrib import admin

from analysis.results.models import Analysis, Job
from studio.records.admin import ReadOnlyAdmin


@admin.register(Job)
class JobAdmin(ReadOnlyAdmin):
    list_display = ("kind", "state", "attempts", "progress", "created_at", "studio")
    list_filter = ("state", "kind")
    list_select_related = ("studio",)


@admin.register(Analysis)
class AnalysisAdmin(ReadOnlyAdmin):
    list_display = ("session", "number", "engine_version", "created_at")
    list_select_related = ("session__rider",)

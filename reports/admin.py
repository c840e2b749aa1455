"""Reports in the owner's back room: looked at, never touched."""

from __future__ import annotations

from django.contrib import admin

from reports.models import Report
from studio.records.admin import ReadOnlyAdmin


@admin.register(Report)
class ReportAdmin(ReadOnlyAdmin):
    list_display = ("number", "analysis", "wording", "issued_at", "studio")
    list_select_related = ("analysis__session__rider", "studio")
    exclude = ("pdf",)

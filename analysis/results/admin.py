"""Jobs, analyses, evidence and editions in the owner's back room: looked at, never touched."""

from __future__ import annotations

from django.contrib import admin

from analysis.results.models import (
    Acceptance,
    Analysis,
    Arm,
    ContributorKey,
    CountedGroup,
    Edition,
    Job,
    LedgerEntry,
    Standings,
)
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


@admin.register(Acceptance)
class AcceptanceAdmin(ReadOnlyAdmin):
    list_display = ("session", "analysis", "accepted_at")
    list_select_related = ("session__rider", "analysis__session__rider")


@admin.register(Arm)
class ArmAdmin(ReadOnlyAdmin):
    list_display = ("category", "product", "session", "cda_m2", "se_m2")
    list_select_related = ("product", "session__rider")


@admin.register(Edition)
class EditionAdmin(ReadOnlyAdmin):
    list_display = ("studio", "number", "arms", "made_at")
    list_select_related = ("studio",)


@admin.register(Standings)
class StandingsAdmin(ReadOnlyAdmin):
    list_display = ("edition", "category", "bike_kind", "height_band", "yaw_band")
    list_select_related = ("edition",)


@admin.register(ContributorKey)
class ContributorKeyAdmin(ReadOnlyAdmin):
    list_display = ("key", "studio")
    list_select_related = ("studio",)


@admin.register(LedgerEntry)
class LedgerEntryAdmin(ReadOnlyAdmin):
    list_display = ("category", "figures", "published_at", "studio")
    list_select_related = ("studio",)


@admin.register(CountedGroup)
class CountedGroupAdmin(ReadOnlyAdmin):
    list_display = ("category", "product", "reference", "counted_at", "studio")
    list_select_related = ("product", "reference", "studio")

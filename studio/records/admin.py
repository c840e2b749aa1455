"""The owner's back room: plain lists of every record. What never changes is read only; the rest keeps the trail."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.db import models
from django.forms import ModelForm
from django.http import HttpRequest

from studio.records.models import (
    ApiToken,
    Bike,
    Calibration,
    Consent,
    Correction,
    Course,
    DeviceMapping,
    EquipmentItem,
    Event,
    EventDetail,
    FieldSession,
    Instrument,
    Invitation,
    KeptAnswer,
    Membership,
    Mounting,
    Position,
    Product,
    Recording,
    Rider,
    Run,
    SessionSetup,
    Setup,
    SetupItem,
    Studio,
    User,
)
from studio.records.models.base import Record
from studio.records.services.events import note_event, turn
from studio.records.services.sessions import link_setup

if TYPE_CHECKING:  # the stubs' classes take parameters, the real ones do not
    ModelAdmin = admin.ModelAdmin[Any]
    TabularInline = admin.TabularInline[Any, Any]
    BaseUserAdmin = UserAdmin[User]
    Form = ModelForm[Any]
else:
    ModelAdmin, TabularInline, BaseUserAdmin, Form = admin.ModelAdmin, admin.TabularInline, UserAdmin, ModelForm


class ReadOnlyAdmin(ModelAdmin):
    """Rows that are looked at and never touched."""

    show_full_result_count = False

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: models.Model | None = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: models.Model | None = None) -> bool:
        return False


class RecordAdmin(ModelAdmin):
    """Rows of a studio: a change here counts in the version and stands in the trail as any other."""

    readonly_fields: ClassVar[Any] = ("id", "version", "created_at", "updated_at")
    list_filter: ClassVar[Any] = ("studio",)
    list_select_related: ClassVar[Any] = ("studio",)
    show_full_result_count = False
    actions = None  # deleting many at once would leave no trail

    def save_model(self, request: HttpRequest, obj: Record, form: Form, change: bool) -> None:
        with turn(obj.studio):
            if change:
                obj.version += 1
            super().save_model(request, obj, form, change)
            self._note(request, "changed" if change else "made", obj)

    def delete_model(self, request: HttpRequest, obj: Record) -> None:
        with turn(obj.studio):
            self._note(request, "deleted", obj)
            super().delete_model(request, obj)

    def _note(self, request: HttpRequest, verb: str, obj: Record) -> None:
        assert isinstance(request.user, User)
        note_event(studio=obj.studio, by=request.user, verb=verb, record=obj)


class SetupItemInline(TabularInline):
    model = SetupItem
    raw_id_fields = ("item",)
    extra = 0


class SessionSetupInline(TabularInline):
    model = SessionSetup
    raw_id_fields = ("setup",)
    extra = 0


@admin.register(User)
class AccountAdmin(BaseUserAdmin):
    list_display = ("username", "email", "is_active", "last_login")

    def has_delete_permission(self, request: HttpRequest, obj: models.Model | None = None) -> bool:
        return False  # an owner removes a member; the account stays, for what it did


@admin.register(Studio)
class StudioAdmin(ModelAdmin):
    list_display = ("name", "timezone", "created_at")
    readonly_fields = ("id", "created_at")


@admin.register(Membership)
class MembershipAdmin(ReadOnlyAdmin):
    list_display = ("user", "role", "studio")
    list_filter = ("role",)
    list_select_related = ("user", "studio")


@admin.register(Invitation)
class InvitationAdmin(ReadOnlyAdmin):
    list_display = ("role", "name", "expires_at", "studio")
    list_select_related = ("studio",)


@admin.register(Rider)
class RiderAdmin(RecordAdmin):
    list_display = ("code", "family_name", "given_names", "height_cm", "studio")
    search_fields = ("code", "family_name")
    raw_id_fields = ("user",)


@admin.register(Consent)
class ConsentAdmin(ReadOnlyAdmin):
    list_display = ("rider", "purpose", "given_at", "withdrawn_at")
    list_select_related = ("rider",)


@admin.register(Bike)
class BikeAdmin(RecordAdmin):
    list_display = ("name", "kind", "rider", "studio")
    list_select_related = ("rider", "studio")
    raw_id_fields = ("rider",)


@admin.register(Product)
class ProductAdmin(RecordAdmin):
    list_display = ("name", "category", "maker", "list_price", "currency", "studio")
    search_fields = ("name", "maker")


@admin.register(EquipmentItem)
class EquipmentItemAdmin(RecordAdmin):
    list_display = ("product", "size", "serial", "rider", "studio")
    list_select_related = ("product", "rider", "studio")
    raw_id_fields = ("product", "rider")

    def has_change_permission(self, request: HttpRequest, obj: EquipmentItem | None = None) -> bool:
        used = obj is not None and SetupItem.objects.filter(item=obj, setup__runs__isnull=False).exists()
        return not used and super().has_change_permission(request, obj)


@admin.register(Mounting)
class MountingAdmin(RecordAdmin):
    list_display = ("item", "slot", "bike", "rider", "mounted_at", "removed_at")
    list_select_related = ("item__product", "bike", "rider")
    raw_id_fields = ("item", "bike", "rider")


@admin.register(Position)
class PositionAdmin(RecordAdmin):
    list_display = ("bike", "number", "name", "studio")
    list_select_related = ("bike", "studio")
    raw_id_fields = ("bike",)

    def has_change_permission(self, request: HttpRequest, obj: Position | None = None) -> bool:
        used = obj is not None and Run.objects.filter(setup__position=obj).exists()
        return not used and super().has_change_permission(request, obj)


@admin.register(Setup)
class SetupAdmin(RecordAdmin):
    list_display = ("label", "bike", "position", "studio")
    list_select_related = ("bike", "position__bike", "studio")
    raw_id_fields = ("bike", "position")
    inlines = (SetupItemInline,)

    def has_change_permission(self, request: HttpRequest, obj: Setup | None = None) -> bool:
        used = obj is not None and obj.runs.exists()
        return not used and super().has_change_permission(request, obj)


@admin.register(DeviceMapping)
class DeviceMappingAdmin(ReadOnlyAdmin):
    list_display = ("name", "device_key", "updated_at", "studio")
    list_select_related = ("studio",)


@admin.register(Course)
class CourseAdmin(RecordAdmin):
    list_display = ("name", "kind", "length_m", "bearing_deg", "studio")


@admin.register(Instrument)
class InstrumentAdmin(RecordAdmin):
    list_display = ("name", "kind", "serial", "retired_on", "studio")


@admin.register(Calibration)
class CalibrationAdmin(RecordAdmin):
    list_display = ("instrument", "done_on", "result", "due_on")
    list_select_related = ("instrument",)
    raw_id_fields = ("instrument",)


@admin.register(FieldSession)
class FieldSessionAdmin(RecordAdmin):
    list_display = ("title", "date", "rider", "studio")
    list_select_related = ("rider", "studio")
    raw_id_fields = ("rider", "bike", "course", "fitter", "instruments")
    readonly_fields = (*RecordAdmin.readonly_fields, "bundle_sha256", "unknown")
    inlines = (SessionSetupInline,)


@admin.register(Run)
class RunAdmin(RecordAdmin):
    list_display = ("session", "number", "setup", "left_out")
    list_select_related = ("session__rider", "setup")
    raw_id_fields = ("session", "setup", "recording")

    def save_model(self, request: HttpRequest, obj: Record, form: Form, change: bool) -> None:
        assert isinstance(obj, Run)
        super().save_model(request, obj, form, change)
        link_setup(obj.session, obj.setup)


@admin.register(Recording)
class RecordingAdmin(ReadOnlyAdmin):
    list_display = ("filename", "session", "format", "state", "size_bytes")
    list_select_related = ("session__rider",)


@admin.register(Correction)
class CorrectionAdmin(ReadOnlyAdmin):
    list_display = ("session_name", "kind", "reason", "made_by", "created_at", "undone_at")
    list_select_related = ("made_by",)


@admin.register(Event)
class EventAdmin(ReadOnlyAdmin):
    list_display = ("number", "at", "verb", "record_kind", "record_id", "studio")
    list_select_related = ("studio",)


@admin.register(EventDetail)
class EventDetailAdmin(ReadOnlyAdmin):
    list_display = ("event", "address")
    list_select_related = ("event",)


@admin.register(KeptAnswer)
class KeptAnswerAdmin(ReadOnlyAdmin):
    list_display = ("user", "path", "status", "created_at")
    list_select_related = ("user",)
    exclude = ("body", "headers")


@admin.register(ApiToken)
class ApiTokenAdmin(ReadOnlyAdmin):
    list_display = ("user", "name", "kind", "created_at", "expires_at", "last_used_at", "revoked_at")
    list_select_related = ("user",)
    exclude = ("sha256",)

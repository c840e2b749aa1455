"""Who belongs to the studio: its owners invite, give roles, link clients to riders, and remove."""

from __future__ import annotations

from typing import TYPE_CHECKING
from uuid import UUID

from django import forms
from django.conf import settings
from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from studio.records.errors import RecordsError
from studio.records.models import Invitation, Membership, Rider, Role
from studio.records.services.invitations import INVITED, invitation_create, invitation_delete
from studio.records.services.members import membership_remove, membership_update
from studio.web.access import caller, open_to
from studio.web.turning import turned

if TYPE_CHECKING:  # the stubs' class takes a parameter, the real one does not
    RiderChoice = forms.ModelChoiceField[Rider]
else:
    RiderChoice = forms.ModelChoiceField


class RiderField(RiderChoice):
    """A rider of the studio, by code and name."""

    def label_from_instance(self, obj: Rider) -> str:
        return " ".join(filter(None, [obj.code, obj.given_names, obj.family_name]))


class InviteForm(forms.Form):
    role = forms.ChoiceField(choices=[(role, role) for role in INVITED])
    name = forms.CharField(max_length=120, required=False, label="For whom, for your own list")
    rider = RiderField(queryset=Rider.objects.none(), required=False, label="Rider, for a client")


class MemberForm(forms.Form):
    role = forms.ChoiceField(choices=Role.choices)
    rider = RiderField(queryset=Rider.objects.none(), required=False, label="Rider, for a client")
    version = forms.IntegerField(widget=forms.HiddenInput)


def _free_riders(request: HttpRequest, member: Membership | None = None) -> QuerySet[Rider]:
    riders = Rider.objects.visible_to(request.user)
    free = riders.filter(user=None)
    return (free | riders.filter(user=member.user) if member else free).order_by("code")


def _members(request: HttpRequest) -> QuerySet[Membership]:
    rows = Membership.objects.visible_to(request.user).filter(user__is_active=True)
    return rows.select_related("studio", "user__rider")


@open_to(Role.OWNER)
def people(request: HttpRequest) -> HttpResponse:
    """Members and open links; a POST makes a link, which this answer alone shows."""
    form = InviteForm(request.POST if request.method == "POST" else None)
    form.fields["rider"].queryset = _free_riders(request)  # type: ignore[attr-defined]
    link, by = "", caller(request)
    if form.is_valid():
        try:
            invitation, key = invitation_create(studio=by.studio, by=by.user, **form.cleaned_data)
        except RecordsError as refusal:
            form.add_error(None, refusal.message)
        else:
            link = _link(key)
            form = InviteForm()
            form.fields["rider"].queryset = _free_riders(request)  # type: ignore[attr-defined]
    members, turn = turned(request, _members(request))
    shown = {
        "form": form,
        "link": link,
        "members": members,
        "turn": turn,
        "invitations": _open_links(request),
        "timezone": by.studio.timezone,
    }
    return render(request, "web/people.html", shown, status=400 if form.errors else 200)


def _link(key: str) -> str:
    return settings.PUBLIC_URL.rstrip("/") + reverse("web:join", args=[key])


def _open_links(request: HttpRequest) -> QuerySet[Invitation]:
    rows = Invitation.objects.visible_to(request.user).filter(expires_at__gt=timezone.now())
    return rows.select_related("rider").order_by("-pk")[:100]


@open_to(Role.OWNER)
def take_back(request: HttpRequest, invitation_id: UUID) -> HttpResponse:
    """Take a link back, by POST only."""
    if request.method == "POST":
        row = get_object_or_404(_links(request), pk=invitation_id)
        invitation_delete(record=row, by=caller(request).user, version=row.version)
        messages.success(request, "The link is taken back: it opens nothing any more.")
    return redirect("web:people")


def _links(request: HttpRequest) -> QuerySet[Invitation]:
    return Invitation.objects.visible_to(request.user)


@open_to(Role.OWNER)
def member(request: HttpRequest, membership_id: UUID) -> HttpResponse:
    """One member: role and rider."""
    row = get_object_or_404(_members(request), pk=membership_id)
    form = _member_form(request, row, request.POST if request.method == "POST" else None)
    if form.is_valid():
        given = form.cleaned_data
        changes = {"role": given["role"], "rider": given["rider"]}
        try:
            membership_update(record=row, by=caller(request).user, version=given["version"], changes=changes)
        except RecordsError as refusal:
            row.refresh_from_db()
            form.add_error(None, refusal.message)
        else:
            messages.success(request, f"{row.user.get_username()} is a {row.role} from now on.")
            return redirect("web:people")
    return _member_page(request, row, form)


def _member_form(request: HttpRequest, row: Membership, data: QueryDict | None = None) -> MemberForm:
    rider = getattr(row.user, "rider", None)
    form = MemberForm(data, initial={"role": row.role, "rider": rider, "version": row.version})
    form.fields["rider"].queryset = _free_riders(request, row)  # type: ignore[attr-defined]
    return form


def _member_page(
    request: HttpRequest, row: Membership, form: MemberForm, *, link: str = "", refusal: str = ""
) -> HttpResponse:
    shown = {"member": row, "form": form, "link": link, "refusal": refusal}
    return render(request, "web/member.html", shown, status=400 if form.errors or refusal else 200)


@open_to(Role.OWNER)
def remove(request: HttpRequest, membership_id: UUID) -> HttpResponse:
    """Remove a member, by POST only and with the box ticked."""
    row = get_object_or_404(_members(request), pk=membership_id)
    if request.method != "POST":
        return redirect("web:member", row.pk)
    form = _member_form(request, row)
    if request.POST.get("sure") != "yes":
        return _member_page(request, row, form, refusal="Tick the box to say that this is meant.")
    try:
        membership_remove(record=row, by=caller(request).user, version=row.version)
    except RecordsError as refusal:
        return _member_page(request, row, form, refusal=refusal.message)
    messages.success(request, f"{row.user.get_username()} belongs to this studio no more and is signed out.")
    return redirect("web:people")


@open_to(Role.OWNER)
def password_link(request: HttpRequest, membership_id: UUID) -> HttpResponse:
    """Make a link for a new password, by POST only; this answer alone shows it."""
    row = get_object_or_404(_members(request), pk=membership_id)
    if request.method != "POST":
        return redirect("web:member", row.pk)
    by = caller(request)
    _, key = invitation_create(studio=by.studio, by=by.user, membership=row)
    return _member_page(request, row, _member_form(request, row), link=_link(key))

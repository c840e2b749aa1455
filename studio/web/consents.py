"""What a rider agreed to, on a page of plain words: each purpose by itself, given and withdrawn by the rider."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from analysis.results.services.evidence import evidence_follow
from studio.records.errors import RecordsError
from studio.records.models import Consent, ConsentPurpose, Rider, Role
from studio.records.services.consents import consent_give, consent_withdraw, is_under_age
from studio.records.wordings import Wording, wording_in_force, wording_of
from studio.web.access import READERS, caller, is_staff, open_to
from studio.web.turning import turned


@dataclass(frozen=True, slots=True)
class Purpose:
    """One question of the page: today's words, and what holds now."""

    wording: Wording
    agreed: Consent | None
    agreed_wording: Wording | None
    last_withdrawn: Consent | None


class AgreeForm(forms.Form):
    purpose = forms.ChoiceField(choices=ConsentPurpose.choices)
    wording_version = forms.CharField(max_length=40)
    signed_on = forms.DateField(required=False)
    guardian_name = forms.CharField(max_length=200, required=False)


@open_to(*READERS)
def consents(request: HttpRequest) -> HttpResponse:
    """A client's own page; for staff the riders, each leading to theirs."""
    riders = Rider.objects.visible_to(request.user)
    if caller(request).role == Role.CLIENT:
        rider = riders.first()
        return redirect("web:rider-consents", rider.pk) if rider else render(request, "web/consents.html", {})
    page, turn = turned(request, riders.select_related("user"))
    agreed = Consent.objects.filter(rider__in=page, withdrawn_at=None).values_list("rider_id", "purpose")
    titles: dict[UUID, list[str]] = {}
    for rider_id, purpose in agreed:
        titles.setdefault(rider_id, []).append(str(ConsentPurpose(purpose).label))
    rows = [(rider, ", ".join(sorted(titles.get(rider.pk, [])))) for rider in page]
    return render(request, "web/consents.html", {"rows": rows, "turn": turn, "staff": True})


@open_to(*READERS)
def rider_consents(request: HttpRequest, rider_id: UUID) -> HttpResponse:
    """One rider's consents; a POST agrees to one purpose."""
    rider = get_object_or_404(Rider.objects.visible_to(request.user).select_related("studio"), pk=rider_id)
    form = AgreeForm(request.POST if request.method == "POST" else None)
    refusal = "Say which purpose is agreed to, and in which wording." if form.errors else ""
    if form.is_valid():
        try:
            _agree(request, rider, form.cleaned_data)
        except RecordsError as said:
            refusal = said.message
        else:
            messages.success(request, "Noted. It holds from now on, and can be withdrawn here at any time.")
            return redirect("web:rider-consents", rider.pk)
    return rider_page(request, rider, refusal=refusal)


def _agree(request: HttpRequest, rider: Rider, given: dict[str, Any]) -> None:
    own, now = rider.user_id == caller(request).user_id, timezone.now()
    signed = given.pop("signed_on")
    if signed and not own:
        midday = datetime(signed.year, signed.month, signed.day, 12, tzinfo=ZoneInfo(rider.studio.timezone))
        given["given_at"] = min(midday, now) if midday.date() == now.astimezone(midday.tzinfo).date() else midday
    consent_give(rider=rider, by=caller(request).user, from_paper=not own, **{"given_at": now, **given})
    evidence_follow(rider=rider)


def rider_page(request: HttpRequest, rider: Rider, *, refusal: str = "") -> HttpResponse:
    """The page as it stands now, with what was refused."""
    rows = list(Consent.objects.filter(rider=rider).order_by("pk"))
    shown = {
        "rider": rider,
        "own": rider.user_id == caller(request).user_id,
        "staff": is_staff(request),
        "owner": caller(request).role == Role.OWNER,
        "purposes": [_purpose(purpose, rows) for purpose in ConsentPurpose.values],
        "under_age": is_under_age(rider, timezone.now().date()),
        "refusal": refusal,
        "timezone": rider.studio.timezone,
    }
    return render(request, "web/rider-consents.html", shown, status=400 if refusal else 200)


def _purpose(purpose: str, rows: list[Consent]) -> Purpose:
    mine = [row for row in rows if row.purpose == purpose]
    agreed = next((row for row in mine if row.withdrawn_at is None), None)
    gone = [row for row in mine if row.withdrawn_at is not None]
    return Purpose(
        wording=wording_in_force(purpose),
        agreed=agreed,
        agreed_wording=wording_of(purpose, agreed.wording_version) if agreed else None,
        last_withdrawn=gone[-1] if gone else None,
    )


@open_to(*READERS)
def withdraw(request: HttpRequest, consent_id: UUID) -> HttpResponse:
    """Withdraw one consent, by POST only."""
    visible = Consent.objects.visible_to(request.user).select_related("studio", "rider")
    consent = get_object_or_404(visible, pk=consent_id)
    if request.method == "POST":
        by = caller(request).user
        try:
            consent_withdraw(record=consent, by=by, version=consent.version, withdrawn_at=timezone.now())
        except RecordsError as refusal:
            return rider_page(request, consent.rider, refusal=refusal.message)
        evidence_follow(rider=consent.rider)
        messages.success(request, "Withdrawn. It holds no more from this moment on.")
    return redirect("web:rider-consents", consent.rider_id)

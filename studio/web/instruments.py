"""Instruments with their checks, and which of them are due."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from studio.records.errors import RecordsError
from studio.records.models import Calibration, Instrument, InstrumentKind
from studio.records.services.instruments import calibration_create, instrument_create
from studio.web.access import STAFF, caller, open_to


class InstrumentForm(forms.Form):
    kind = forms.ChoiceField(choices=InstrumentKind.choices)
    name = forms.CharField(max_length=200)
    serial = forms.CharField(max_length=120, required=False)
    stated_accuracy = forms.CharField(
        max_length=120, required=False, label="Stated accuracy", help_text="as on its data sheet, such as 1.5 %"
    )


class CheckForm(forms.Form):
    done_on = forms.DateField(label="Checked on", widget=forms.DateInput({"type": "date"}))
    result = forms.CharField(max_length=300, help_text="in words: against what, and whether it may be used")
    figure = forms.FloatField(required=False, help_text="the number that was found, such as 0.4")
    figure_unit = forms.CharField(max_length=40, required=False, label="Unit of the figure", help_text="such as %")
    due_on = forms.DateField(required=False, label="Next check is due on", widget=forms.DateInput({"type": "date"}))


@dataclass(frozen=True, slots=True)
class Standing:
    """How an instrument stands today."""

    check: Calibration | None
    said: str
    overdue: bool = False


def standing_of(instrument: Instrument, today: date) -> Standing:
    """By its last check; one that is due today is still in time."""
    checks = [check for check in instrument.calibrations.all() if check.done_on <= today]
    last = max(checks, key=lambda check: (check.done_on, check.pk), default=None)
    if instrument.retired_on is not None and instrument.retired_on <= today:
        return Standing(last, "out of use")
    if last is None:
        return Standing(None, "never checked")
    if last.due_on is None:
        return Standing(last, "no next check entered")
    if last.due_on < today:
        return Standing(last, f"overdue since {_day(last.due_on)}", overdue=True)
    return Standing(last, f"due on {_day(last.due_on)}")


def _day(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


def _visible(request: HttpRequest) -> QuerySet[Instrument]:
    return Instrument.objects.visible_to(request.user).select_related("studio").prefetch_related("calibrations")


@open_to(*STAFF)
def instruments(request: HttpRequest) -> HttpResponse:
    """The list with what is due; by POST one more."""
    form, by = InstrumentForm(request.POST if request.method == "POST" else None), caller(request)
    if form.is_valid():
        try:
            made = instrument_create(studio=by.studio, by=by.user, **form.cleaned_data)
        except RecordsError as refusal:
            form.add_error(None, refusal.message)
        else:
            messages.success(request, f"{made} is entered. Enter its last check below.")
            return redirect("web:instrument", made.pk)
    today = timezone.localdate()
    rows = [(one, standing_of(one, today)) for one in _visible(request).order_by("kind", "name", "serial")]
    facts = {"rows": rows, "overdue": sum(standing.overdue for _, standing in rows), "form": form}
    return render(request, "web/instruments.html", facts, status=422 if form.errors else 200)


@open_to(*STAFF)
def instrument(request: HttpRequest, instrument_id: UUID) -> HttpResponse:
    """One instrument with its checks, newest first; by POST one more check."""
    one, by = get_object_or_404(_visible(request), pk=instrument_id), caller(request)
    form = CheckForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        try:
            calibration_create(studio=by.studio, by=by.user, instrument=one, **form.cleaned_data)
        except RecordsError as refusal:
            form.add_error(None, refusal.message)
        else:
            messages.success(request, f"The check of {one} is entered.")
            return redirect("web:instrument", one.pk)
    facts = {
        "instrument": one,
        "standing": standing_of(one, timezone.localdate()),
        "checks": sorted(one.calibrations.all(), key=lambda check: (check.done_on, check.pk), reverse=True),
        "form": form,
    }
    return render(request, "web/instrument.html", facts, status=422 if form.errors else 200)

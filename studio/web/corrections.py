"""What was put right, newest first, with both values, and undone from here while it is still the day of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from studio.records.errors import RecordsError
from studio.records.models import Correction, CorrectionKind, FieldSession, Setup
from studio.records.services.undoing import correction_undo, may_be_undone
from studio.web.access import STAFF, caller, open_to
from studio.web.side_by_side import side_by_side
from studio.web.turning import turned

GONE = "a setup that is deleted"
WORDS = {"setup": "setup", "left_out": "counts", "system_mass_kg": "system mass (kg)"}


@open_to(*STAFF)
def correction_list(request: HttpRequest) -> HttpResponse:
    """All of the studio's."""
    return _page(request, _visible(request), None)


@open_to(*STAFF)
def session_corrections(request: HttpRequest, session_id: UUID) -> HttpResponse:
    """Those of one session."""
    session = get_object_or_404(FieldSession.objects.visible_to(request.user).select_related("rider"), pk=session_id)
    return _page(request, _visible(request).filter(session_key=session.pk), session)


@open_to(*STAFF)
def undo(request: HttpRequest, correction_id: UUID) -> HttpResponse:
    """Put back what a correction changed, by POST only; where somebody built on it since, that is told."""
    correction = get_object_or_404(_visible(request), pk=correction_id)
    session = FieldSession.objects.visible_to(request.user).filter(pk=correction.session_key).first()
    if request.method == "POST":
        try:
            correction_undo(correction=correction, by=caller(request).user)
        except RecordsError as refusal:
            told = [f"{fault.key}: on record now {fault.given}; {fault.allowed}." for fault in refusal.faults]
            rows = _visible(request).filter(session_key=correction.session_key)
            return _page(request, rows, session, refusal=refusal.message.partition(":")[0], told=told)
        messages.success(request, f"Undone: {correction.get_kind_display()}. Both acts stay on record.")
        return redirect("web:session-corrections", correction.session_key)
    return redirect("web:session-corrections", session.pk) if session else redirect("web:corrections")


def _visible(request: HttpRequest) -> QuerySet[Correction]:
    return Correction.objects.visible_to(request.user).select_related("studio", "made_by", "undone_by")


def _page(
    request: HttpRequest,
    rows: QuerySet[Correction],
    session: FieldSession | None,
    *,
    refusal: str = "",
    told: Sequence[str] = (),
) -> HttpResponse:
    found, turn = turned(request, rows)
    setups, keys = _setups_of(found), {one.session_key for one in found}
    there = {session.pk} if session else set(FieldSession.objects.filter(pk__in=keys).values_list("pk", flat=True))
    shown = {
        "session": session,
        "rows": [_row(one, setups) | {"there": one.session_key in there} for one in found],
        "turn": turn,
        "beyond_end": turn.newest and not found,
        "timezone": caller(request).studio.timezone,
        "refusal": refusal,
        "told": told,
    }
    return render(request, "web/corrections.html", shown, status=409 if refusal else 200)


def _setups_of(corrections: Sequence[Correction]) -> Mapping[str, Setup]:
    """Every setup that the corrections speak of, by id, in one go."""
    keys = {key for one in corrections for key in _keys_of(one.changes)}
    rows = Setup.objects.filter(pk__in=keys).select_related("position").prefetch_related("slots__item__product")
    return {str(setup.pk): setup for setup in rows}


def _keys_of(changes: Mapping[str, Any]) -> list[str]:
    sides = [step[side].get("setup") for step in changes.get("runs", []) for side in ("before", "after")]
    links = [key for side in changes.get("links", {}).values() for key, _ in side]
    return [key for key in (*sides, *links) if key]


def _row(correction: Correction, setups: Mapping[str, Setup]) -> dict[str, Any]:
    changes, steps = correction.changes, correction.changes.get("runs", [])
    now, zone = timezone.now(), correction.studio.timezone
    shown: dict[str, Any] = {
        "correction": correction,
        "open": may_be_undone(made=correction.created_at, undone=correction.undone_at, zone=zone, now=now),
        "run": changes.get("number"),
    }
    if correction.kind == CorrectionKind.MENDED and steps:
        pair = [setups.get(steps[0][side]["setup"]) for side in ("before", "after")]
        both = [setup for setup in pair if setup is not None]
        moved = f"run{'s' * (len(steps) > 1)} {', '.join(str(step['number']) for step in steps)}"
        return shown | {"moved": moved} | ({"pair": both, "facts": side_by_side(both)} if len(both) == 2 else {})
    shown["steps"] = [line for step in steps for line in _lines(step, setups)]
    if "links" in changes:
        shown["tested"] = [_tested(changes["links"][side], setups) for side in ("before", "after")]
    return shown


def _lines(step: Mapping[str, Any], setups: Mapping[str, Setup]) -> list[tuple[str, str, str]]:
    """What, before, after, for every value of a run that became another one."""
    before, after = step["before"], step["after"]
    lines = []
    for name in after:
        if before.get(name) != after[name]:
            what = f"run {step['number']}, {WORDS.get(name, name.replace('_', ' '))}"
            lines.append((what, _said(name, before.get(name), setups), _said(name, after[name], setups)))
    return lines


def _said(name: str, value: object, setups: Mapping[str, Setup]) -> str:
    if name == "setup":
        return setups[str(value)].label if str(value) in setups else GONE
    if name == "left_out":
        return f"no: {value}" if value else "yes"
    return "none" if value in (None, "") else str(value)


def _tested(links: Sequence[Sequence[Any]], setups: Mapping[str, Setup]) -> str:
    return ", ".join(
        (setups[key].label if key in setups else GONE) + (" (reference)" if reference else "")
        for key, reference in links
    )

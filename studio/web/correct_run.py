"""One run put right: left out with its reason, taken back in, or given another setup. Setups are `mend_setup.py`'s."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from studio.records.errors import Conflict, RecordsError, StaleVersion
from studio.records.models import FieldSession, Run, Setup
from studio.records.services.runs import run_update
from studio.web.access import STAFF, caller, open_to
from studio.web.both_values import Both, sent_version, sentences
from studio.web.recordings import setups_for

COUNTS = "counts"
UNTOUCHED = "not touched by you"
NO_REASON = "Say why the run is left out: the reason stands beside it in the analysis and the report."
NO_SETUP = "The setup is none of this bike's. Choose one of the list."
NO_ACT = "The form said nothing that can be done. Use one of the buttons."
MOST_REASON = Run._meta.get_field("left_out").max_length


@open_to(*STAFF)
def correct_run(request: HttpRequest, run_id: UUID) -> HttpResponse:
    """The forms by GET; by POST one of them is done, or told why not."""
    run = _run(request, run_id)
    if request.method != "POST":
        return _page(request, run, {})
    changes, fault = _asked(request.POST, setups_for(run.session))
    if fault:
        return _page(request, run, request.POST, status=422, faults=[fault])
    if all(getattr(run, name) == value for name, value in changes.items()):
        messages.info(request, f"Run {run.number} says so already: nothing was written.")
        return redirect("web:session", run.session_id)
    version, tested = sent_version(request.POST), _tested(run.session)
    try:
        done = run_update(record=run, by=caller(request).user, version=version, changes=changes)
    except StaleVersion:
        return _page(request, _run(request, run_id), request.POST, status=412, wanted=changes)
    except RecordsError as refusal:
        status = 409 if isinstance(refusal, Conflict) else 422
        return _page(request, run, request.POST, status=status, faults=sentences(refusal))
    messages.success(request, _told(done, changes, tested))
    return redirect("web:session", run.session_id)


def _run(request: HttpRequest, run_id: UUID) -> Run:
    visible = Run.objects.visible_to(request.user)
    return get_object_or_404(visible.select_related("session__rider", "setup", "recording", "studio"), pk=run_id)


def _asked(sent: Mapping[str, str], setups: Sequence[Setup]) -> tuple[dict[str, Any], str]:
    """The change that the pressed button stands for, or what is wrong with it."""
    act = sent.get("act")
    if act == "leave-out":
        reason = sent.get("left_out", "").strip()
        return {"left_out": reason}, "" if reason else NO_REASON
    if act == "take-in":
        return {"left_out": ""}, ""
    if act == "reassign":
        chosen = next((setup for setup in setups if str(setup.pk) == sent.get("setup")), None)
        return {"setup": chosen}, "" if chosen else NO_SETUP
    return {}, NO_ACT


def _said(name: str, value: object) -> str:
    """A run's value as the page says it."""
    if name == "setup":
        return str(value)
    return f"left out: {value}" if value else COUNTS


def _page(
    request: HttpRequest,
    run: Run,
    sent: Mapping[str, str],
    *,
    status: int = 200,
    faults: Sequence[str] = (),
    wanted: Mapping[str, Any] | None = None,
) -> HttpResponse:
    """The page with what was typed; `wanted` is a change that came too late."""
    names = {"setup": f"setup of run {run.number}", "left_out": f"run {run.number}"}
    yours = {key: _said(key, value) for key, value in (wanted or {}).items()}
    both = [Both(name, _said(key, getattr(run, key)), yours.get(key, UNTOUCHED)) for key, name in names.items()]
    shown = {
        "run": run,
        "session": run.session,
        "reason": sent.get("left_out", run.left_out),
        "chosen": sent.get("setup", str(run.setup_id)),
        "setups": setups_for(run.session),
        "most": MOST_REASON,
        "faults": faults,
        "late": wanted is not None,
        "told": f"Run {run.number} was changed since you opened it.",
        "both": both,
        "keep": reverse("web:session", args=[run.session_id]),
    }
    return render(request, "web/correct-run.html", shown, status=status)


def _told(run: Run, changes: Mapping[str, Any], tested: Mapping[str, bool]) -> str:
    """What was done, and what came of it for the setups that the session tests (`tested`: as it was, by label)."""
    again = "Start the analysis again to have it count."
    if "setup" in changes:
        now = _tested(run.session)
        left = [label for label in tested if label not in now]
        words = [f"Run {run.number} is of setup {run.setup.label} now."]
        words += [f"No run of setup {label} is left, so the session tests it no longer." for label in left]
        words += [f"The reference is setup {run.setup.label}."] if left and now[run.setup.label] else []
        return " ".join([*words, again])
    if run.left_out:
        return f"Run {run.number} is left out: {run.left_out}. {again}"
    return f"Run {run.number} counts again. {again}"


def _tested(session: FieldSession) -> dict[str, bool]:
    links = session.setup_links.select_related("setup").order_by("order")
    return {link.setup.label: link.reference for link in links}

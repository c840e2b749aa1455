"""A setup that was entered wrong (a mass, a tyre ...): a new one beside it, and the runs that move over.

The used one stays as it was ridden; both stand side by side before anything is written, and in the corrections after.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from studio.records.errors import Conflict, RecordsError, StaleVersion
from studio.records.models import FieldSession, Setup
from studio.records.services.mending import setup_mend, versions_of_runs
from studio.web.access import STAFF, caller, open_to
from studio.web.both_values import Both, sentences
from studio.web.mend_form import MendForm
from studio.web.side_by_side import fact_rows, facts_of


@open_to(*STAFF)
def mend_setup(request: HttpRequest, session_id: UUID, setup_id: UUID) -> HttpResponse:
    """The form by GET; by POST both setups side by side, and by the second button the mending."""
    session = get_object_or_404(
        FieldSession.objects.visible_to(request.user).select_related("studio", "rider"), pk=session_id
    )
    setup = _setup(request, session, setup_id)
    if request.method != "POST":
        versions = versions_of_runs(session, setup)
        if not versions:
            messages.info(request, f"No run of this session uses setup {setup.label}; there is nothing to mend.")
            return redirect("web:session", session.pk)
        return _page(request, session, MendForm(setup, versions))
    form = MendForm(setup, seen_versions(request.POST.get("seen", "")), request.POST)
    if not form.is_valid():
        return _page(request, session, form, status=422)
    if form.versions != versions_of_runs(session, setup):
        return _late(request, session, form)
    if request.POST.get("act") != "mend":
        return _page(request, session, form, looked=True)
    return _mended(request, session, form)


def _setup(request: HttpRequest, session: FieldSession, setup_id: UUID) -> Setup:
    visible = Setup.objects.visible_to(request.user).filter(bike=session.bike_id).select_related("position", "bike")
    return get_object_or_404(visible.prefetch_related("slots__item__product"), pk=setup_id)


def _mended(request: HttpRequest, session: FieldSession, form: MendForm) -> HttpResponse:
    try:
        mended = setup_mend(session=session, setup=form.setup, by=caller(request).user, **form.asked())
    except StaleVersion:
        return _late(request, session, form)
    except RecordsError as refusal:
        status = 409 if isinstance(refusal, Conflict) else 422
        return _page(request, session, form, status=status, looked=True, faults=sentences(refusal))
    messages.success(
        request, f"Setup {mended.label} is mended: old and new are below. Start the analysis again to have it count."
    )
    return redirect("web:session-corrections", session.pk)


def _late(request: HttpRequest, session: FieldSession, form: MendForm) -> HttpResponse:
    """Both values, and the form anew: what was typed over what is on record now."""
    setup = _now_ridden(request, session, form)
    versions = versions_of_runs(session, setup)
    if not versions:
        messages.error(request, f"No run uses setup {setup.label} any more: somebody changed all of them. See below.")
        return redirect("web:session", session.pk)
    fresh = MendForm(setup, versions, form.typed_over(setup, versions))
    runs = session.runs.filter(number__in=form.versions).exclude(setup=setup).select_related("setup")
    moved = [Both(f"setup of run {run.number}", run.setup.label, f"{form.setup.label}, mended") for run in runs]
    return _page(request, session, fresh, status=412, both=[*form.against(setup), *moved])


def _now_ridden(request: HttpRequest, session: FieldSession, form: MendForm) -> Setup:
    """The setup itself while a run uses it; else the one that all of its runs went to, as by another's mending."""
    if session.runs.filter(setup=form.setup).exists():
        return form.setup
    heirs = set(session.runs.filter(number__in=form.versions).values_list("setup", flat=True))
    return _setup(request, session, heirs.pop()) if len(heirs) == 1 else form.setup


def seen_versions(text: str) -> dict[int, int]:
    """The versions of the runs that a form was drawn from, as `1.3 4.1`; none where it says none that could be."""
    pairs = [one.partition(".")[::2] for one in text.split()]
    if not all(half.isascii() and half.isdigit() and len(half) < 9 for pair in pairs for half in pair):
        return {}
    return {int(number): int(version) for number, version in pairs}


def _page(
    request: HttpRequest,
    session: FieldSession,
    form: MendForm,
    *,
    status: int = 200,
    looked: bool = False,
    faults: Sequence[str] = (),
    both: Sequence[Both] | None = None,
) -> HttpResponse:
    setup = form.setup
    changes: Mapping[str, object] = form.changes() if looked else {}
    shown = {
        "session": session,
        "setup": setup,
        "form": form,
        "seen": " ".join(f"{number}.{version}" for number, version in form.versions.items()),
        "facts": fact_rows([facts_of(setup), facts_of(setup, changes)]) if looked else [],
        "looked": looked,
        # Written is what was looked at, whatever is typed below it afterwards: a form of its own, with these values.
        "looked_at": [(name, value) for name in form.fields for value in request.POST.getlist(name)] if looked else [],
        "moving": form.cleaned_data["runs"] if looked else [],
        "new_label": changes.get("label", setup.label),
        "faults": faults,
        "late": both is not None,
        "told": f"The runs of setup {setup.label} were changed since you opened this page.",
        "both": both,
        "keep": reverse("web:session", args=[session.pk]),
    }
    return render(request, "web/mend-setup.html", shown, status=status)

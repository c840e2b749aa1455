"""Accepting analyses, and the arms that they put into the evidence: entered, replaced, taken out at once."""

from __future__ import annotations

from django.utils import timezone

from analysis.results.models import ARM_FACTS, Acceptance, Analysis, Arm
from analysis.results.offers import arms_of_analysis, has_agreed
from analysis.results.services.editions import edition_due
from studio.records.errors import Conflict
from studio.records.models import Rider, User
from studio.records.services.events import note_event, turn

KEPT = ("analysis", "rider", *ARM_FACTS)


def analysis_accept(*, analysis: Analysis, by: User | None) -> Acceptance:
    """Make an analysis the session's word. Again is the same; a newer one takes its place, an older one is refused."""
    with turn(analysis.studio):
        before = Acceptance.objects.filter(session=analysis.session).select_related("analysis").first()
        if before is not None and before.analysis.number > analysis.number:
            raise Conflict(
                f"Analysis {before.analysis.number} of this session is accepted and newer than {analysis.number}: "
                "accept the newest."
            )
        if before is None or before.analysis_id != analysis.pk:
            if before is not None:
                before.delete()
            before = Acceptance.objects.create(
                studio=analysis.studio,
                session=analysis.session,
                analysis=analysis,
                accepted_by=by,
                accepted_at=timezone.now(),
            )
            note_event(studio=analysis.studio, by=by, verb="accepted", record=analysis)
        _enter(analysis)
        return before


def accepts(analysis: Analysis) -> bool:
    """Whether the analysis may be accepted: no newer one of its session is."""
    return not Acceptance.objects.filter(session=analysis.session, analysis__number__gt=analysis.number).exists()


def evidence_follow(*, rider: Rider) -> None:
    """Bring a rider's arms in line with what they agree to now: after every consent that is given or withdrawn."""
    if has_agreed(rider):
        evidence_enter_again(rider=rider)
    else:
        evidence_withdraw(rider=rider)


def evidence_withdraw(*, rider: Rider) -> None:
    """Take a rider's arms out, with the withdrawal or the erasure that asks for it."""
    with turn(rider.studio):
        if Arm.objects.filter(rider=rider).delete()[0]:
            edition_due(studio=rider.studio)


def evidence_enter_again(*, rider: Rider) -> None:
    """Put in what the rider's accepted analyses say, once the rider agrees to it."""
    with turn(rider.studio):
        accepted = Acceptance.objects.filter(session__rider=rider).select_related("analysis__session__rider")
        for acceptance in accepted:
            _enter(acceptance.analysis)


def _enter(analysis: Analysis) -> None:
    """Make the session's arms those of this analysis; a row that stays keeps its id."""
    there = {(arm.category, arm.product_id): arm for arm in Arm.objects.filter(session=analysis.session)}
    changed = False
    for arm in arms_of_analysis(analysis):
        old = there.pop((arm.category, arm.product_id), None)
        if old is None:
            arm.save(force_insert=True)
        elif any(getattr(old, name) != getattr(arm, name) for name in KEPT):
            Arm.objects.filter(pk=old.pk).update(**{name: getattr(arm, name) for name in KEPT})
        else:
            continue
        changed = True
    gone = Arm.objects.filter(pk__in=[arm.pk for arm in there.values()]).delete()[0]
    if changed or gone:
        edition_due(studio=analysis.studio)

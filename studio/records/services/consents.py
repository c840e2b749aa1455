"""What riders agree to: every consent is given and withdrawn here. A bundle never does it for them.

Riders agree for themselves, each purpose by itself; a fitter enters what was signed on paper. Where the rider is under
age it is the guardian who agrees.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime

from django.utils import timezone

from analysis.readers.faults import Fault, shown
from studio.records.errors import Conflict, fault
from studio.records.models import Consent, ConsentPurpose, Rider, User
from studio.records.services import write
from studio.records.services.people import rider_update
from studio.records.wordings import WORDINGS, wording_in_force, wording_of

OF_AGE_YEARS = 18
"""Everyone below eighteen is a child: Convention on the Rights of the Child (United Nations, 1989), article 1."""


def consent_give(
    *,
    rider: Rider,
    purpose: str,
    wording_version: str,
    given_at: datetime,
    by: User,
    from_paper: bool = False,
    guardian_name: str = "",
) -> Consent:
    """Enter that a rider agreed to one purpose: by the rider, or by a fitter from paper."""
    fields = {
        "rider": rider,
        "purpose": purpose,
        "wording_version": wording_version,
        "given_at": given_at,
        "from_paper": from_paper,
        "guardian_name": " ".join(guardian_name.split()),
        "entered_by": by,
    }
    rules = [_wording_is_known, _given_by_the_rider_or_on_paper, _guardian_agrees_for_a_child]
    return write.create(Consent, studio=rider.studio, by=by, fields=fields, rules=rules)


def consent_withdraw(*, record: Consent, by: User, version: int, withdrawn_at: datetime) -> Consent:
    """End a consent from now on. Notes on health go with the consent that they rested on."""
    if record.withdrawn_at is not None:
        raise Conflict("This consent was withdrawn already.")
    changes = {"withdrawn_at": withdrawn_at}
    with write.change_of(record.studio):
        write.update(record, by=by, version=version, changes=changes, changeable=("withdrawn_at",))
        rider = Rider.objects.get(pk=record.rider_id)
        if record.purpose == ConsentPurpose.HEALTH_NOTES and rider.health_notes:
            rider_update(record=rider, by=by, version=rider.version, changes={"health_notes": ""})
    return record


def is_under_age(rider: Rider, on: date) -> bool:
    """Whether the rider may be under age: only the year of birth is kept, so the whole year of the birthday counts."""
    return rider.birth_year is not None and on.year - rider.birth_year <= OF_AGE_YEARS


def _wording_is_known(consent: Consent) -> Iterable[Fault]:
    """Who agrees here agrees to the words in force; what was signed on paper may be older."""
    in_force = wording_in_force(consent.purpose).version
    known = [one.version for one in WORDINGS if one.purpose == consent.purpose]
    if consent.from_paper and wording_of(consent.purpose, consent.wording_version) is None:
        yield fault("wording_version", shown(consent.wording_version), f"one of: {', '.join(known)}")
    if not consent.from_paper and consent.wording_version != in_force:
        yield fault(
            "wording_version", shown(consent.wording_version), f"{in_force}, the wording in force; read it first"
        )


def _given_by_the_rider_or_on_paper(consent: Consent) -> Iterable[Fault]:
    own = consent.rider.user_id is not None and consent.rider.user_id == consent.entered_by_id
    if own and consent.from_paper:
        yield fault("from_paper", "yes", "no, for one's own consent")
    if not own and not consent.from_paper:
        yield fault(
            "from_paper", "no", "yes: nobody agrees for a rider, a fitter enters what the rider signed on paper"
        )
    if consent.given_at > timezone.now():
        yield fault("given_at", shown(consent.given_at.isoformat()), "a time that is not in the future")


def _guardian_agrees_for_a_child(consent: Consent) -> Iterable[Fault]:
    rider, named = consent.rider, consent.guardian_name
    if not is_under_age(rider, consent.given_at.date()):
        if named and rider.birth_year is not None:
            yield fault("guardian_name", shown(named), "nothing: the rider is of age and agrees without a guardian")
        return
    if not named:
        yield fault(
            "guardian_name", "nothing", "the guardian's name: the rider may be under 18, so the guardian agrees"
        )
    elif not consent.from_paper:
        yield from _guardian_is_on_record(rider, named)


def _guardian_is_on_record(rider: Rider, named: str) -> Iterable[Fault]:
    """At a child's own account only the guardian counts whom the studio has met."""
    known = " ".join(rider.guardian_name.split())
    if not known or rider.guardian_agreed_on is None:
        yield fault(
            "guardian_name", shown(named), "a guardian whom the fitter has entered with the day on which they agreed"
        )
    elif named.casefold() != known.casefold():
        yield fault("guardian_name", shown(named), "the guardian's name as the fitter has entered it")

"""What riders agree to. A bundle never does it for them."""

from __future__ import annotations

from datetime import datetime

from studio.records.models import Consent, Rider, User
from studio.records.services import write


def consent_give(
    *, rider: Rider, purpose: str, wording_version: str, given_at: datetime, by: User, from_paper: bool = False
) -> Consent:
    """Enter that a rider agreed to one purpose: by the rider, or by a fitter from paper."""
    fields = {
        "rider": rider,
        "purpose": purpose,
        "wording_version": wording_version,
        "given_at": given_at,
        "from_paper": from_paper,
        "entered_by": by,
    }
    return write.create(Consent, studio=rider.studio, by=by, fields=fields)


def consent_withdraw(*, record: Consent, by: User, version: int, withdrawn_at: datetime) -> Consent:
    """End a consent from now on."""
    changes = {"withdrawn_at": withdrawn_at}
    return write.update(record, by=by, version=version, changes=changes, changeable=("withdrawn_at",))

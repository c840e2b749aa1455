"""The note `calibration_due`: what the records of a session's instruments say about its result."""

from __future__ import annotations

from analysis.core.types import Warning
from studio.records.models import Calibration, FieldSession

CODE = "calibration_due"
DO = "Check it, and enter the check; until then the absolute drag areas rest on the older one."


def calibrations_due(session: FieldSession) -> tuple[Warning, ...]:
    """A note for each named instrument whose next check was due by the session's day, from the last check up to it."""
    checks = Calibration.objects.filter(instrument__in=session.instruments.all(), done_on__lte=session.date)
    in_force = {check.instrument_id: check for check in checks.select_related("instrument").order_by("done_on", "pk")}
    due = [check for check in in_force.values() if check.due_on is not None and check.due_on <= session.date]
    return tuple(_note(check) for check in sorted(due, key=lambda check: (check.due_on, str(check.instrument))))


def _note(check: Calibration) -> Warning:
    instrument = check.instrument
    what = (
        f"The {instrument.get_kind_display()} {instrument} was last checked on {check.done_on}; "
        f"the next check was due on {check.due_on}, by the day of the session."
    )
    return Warning(CODE, "note", "session", what, DO)

"""Questions about issued reports. Who may see an answer is decided by the caller's `visible_to`."""

from __future__ import annotations

from django.db.models import Max

from reports.models import Report
from studio.records.models import Event, Studio


def next_number(studio: Studio) -> int:
    """The number of the studio's next report; certain only while the studio's turn is held."""
    last: int | None = Report.objects.filter(studio=studio).aggregate(last=Max("number"))["last"]
    issued = Event.objects.filter(studio=studio, verb="issued", record_kind="report").count()
    return max(last or 0, issued) + 1  # the trail counts erased reports, too: no number is given twice

"""Keeping a report that was handed over. Rows are never changed: a reissue makes a new one."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from analysis.results.models import Analysis
from reports.models import Report
from reports.selectors import next_number
from studio.records.errors import Conflict
from studio.records.models import User
from studio.records.services.events import note_event, turn


def report_store(*, analysis: Analysis, facts: Mapping[str, Any], pdf: bytes, by: User | None) -> Report:
    """Keep facts and bytes under the number that the facts carry; a Conflict when that number is not the next."""
    number = facts["report"]["number"]
    with turn(analysis.studio):
        if number != next_number(analysis.studio):
            raise Conflict(f"Report {number} is not the studio's next: another was issued meanwhile. Issue it again.")
        report = Report(
            studio=analysis.studio,
            analysis=analysis,
            number=number,
            wording=facts["wording"],
            facts=dict(facts),
            pdf=pdf,
            pdf_sha256=hashlib.sha256(pdf).hexdigest(),
            issued_by=by,
            issued_at=datetime.fromisoformat(facts["report"]["issued_at"]),
        )
        report.full_clean()
        report.save(force_insert=True)
        note_event(studio=analysis.studio, by=by, verb="issued", record=report, detail={"number": number})
    return report

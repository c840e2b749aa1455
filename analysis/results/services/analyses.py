"""Keeping what the engine said. Rows are never changed: a newer analysis names the one it supersedes."""

from __future__ import annotations

from typing import Any

from analysis.results.models import Analysis
from analysis.results.selectors import newest_analysis
from studio.records.models import FieldSession, User
from studio.records.services.events import note_event, turn


def analysis_store(
    *, session: FieldSession, inputs_sha256: str, engine_version: str, result: dict[str, Any], by: User | None = None
) -> Analysis:
    """Keep a session result; the same inputs under the same engine as the newest one are that one again."""
    with turn(session.studio):  # two analyses of one session take turns
        newest = newest_analysis(session)
        if newest and (newest.inputs_sha256, newest.engine_version) == (inputs_sha256, engine_version):
            return newest
        analysis = Analysis.objects.create(
            studio_id=session.studio_id,
            session=session,
            number=newest.number + 1 if newest else 1,
            inputs_sha256=inputs_sha256,
            engine_version=engine_version,
            result=result,
            supersedes=newest,
        )
        note_event(studio=session.studio, by=by, verb="analysed", record=analysis)
        return analysis

"""Questions about results. Who may see an answer is decided by the caller's `visible_to`."""

from __future__ import annotations

from analysis.results.models import Analysis
from studio.records.models import FieldSession


def newest_analysis(session: FieldSession) -> Analysis | None:
    """The analysis that no other supersedes."""
    return Analysis.objects.filter(session=session).order_by("-number").first()

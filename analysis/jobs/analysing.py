"""From a session's records to an analysis. The sum runs outside any transaction; one short one keeps its result."""

from __future__ import annotations

from typing import Any

from analysis.core.covered import covered
from analysis.core.document import result_document
from analysis.core.session import estimate
from analysis.core.types import Session
from analysis.jobs.inputs import ENGINE_VERSION, inputs_sha256, session_inputs
from analysis.jobs.reading import read_unread
from analysis.results.services.analyses import analysis_store
from analysis.results.services.attempts import Attempt
from studio.records.models import FieldSession
from studio.records.services.runs import run_ridden


def analyse_session(attempt: Attempt) -> dict[str, Any]:
    """Analyse the session that the job names, as its records stand now."""
    session = FieldSession.objects.select_related("studio").get(pk=attempt.job.payload["session"])
    return analyse(attempt, session)


def analyse(attempt: Attempt, session: FieldSession) -> dict[str, Any]:
    """Read the session's channels, estimate and keep the result."""
    attempt.progress(0.2, "reading the recordings")
    read_unread(attempt, session)
    inputs, fingerprint = session_inputs(session), inputs_sha256(session)
    attempt.progress(0.4, "estimating the drag areas")
    result = estimated(inputs)
    with attempt.atomic():
        enter_ridden(session, inputs)
        return keep(attempt, session, fingerprint, result)


def enter_ridden(session: FieldSession, inputs: Session) -> None:
    """Enter how far and how long each run's recording was ridden; a run left out was ridden, too."""
    found = {run.number: covered(run.channels) for run in inputs.runs if run.channels is not None}
    run_ridden(session=session, ridden={number: (one.distance_m, one.time_s) for number, one in found.items()})


def keep(attempt: Attempt, session: FieldSession, fingerprint: str, result: dict[str, Any]) -> dict[str, Any]:
    """Keep the result and end the job as one fact, inside `attempt.atomic()`."""
    analysis = analysis_store(
        session=session,
        inputs_sha256=fingerprint,
        engine_version=ENGINE_VERSION,
        result=result,
        by=attempt.job.requested_by,
    )
    answer = {"session": str(session.pk), "analysis": str(analysis.pk)}
    attempt.done(answer)
    return answer


def estimated(inputs: Session) -> dict[str, Any]:
    """The session result as a document. Raises `SessionRefused`."""
    return result_document(estimate(inputs), engine_version=ENGINE_VERSION)

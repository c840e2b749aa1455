"""A bundle comes in whole, with its analysis, in one transaction; or not at all."""

import pytest

from analysis.core.types import SessionRefused
from analysis.jobs import importing
from analysis.jobs.analysing import analyse_session
from analysis.jobs.importing import import_bundle
from analysis.jobs.inputs import ENGINE_VERSION
from analysis.readers.faults import Refused
from analysis.results.models import Analysis, Job, JobState
from analysis.results.services.attempts import Superseded
from analysis.results.services.jobs import requeue_jobs_of
from studio.records.models import FieldSession, Recording, RecordingState, Rider, Run
from studio.records.services.runs import run_update
from studio.records.store import file_path


@pytest.fixture
def imported(upload, small_day):
    result = import_bundle(upload(*small_day))
    return FieldSession.objects.get(pk=result["session"]), Analysis.objects.get(pk=result["analysis"])


def test_the_job_is_done_with_session_and_analysis(imported):
    session, analysis = imported
    job = Job.objects.get()
    assert (job.state, job.result) == (
        JobState.DONE,
        {"session": str(session.pk), "analysis": str(analysis.pk)},
    )


def test_the_analysis_says_its_engine_and_every_run(imported):
    _, analysis = imported
    assert analysis.engine_version == ENGINE_VERSION
    assert analysis.result["engine"]["version"] == ENGINE_VERSION
    assert [run["number"] for run in analysis.result["runs"]] == [1, 2, 3, 4]


def test_every_recording_is_read_and_its_channels_are_kept(imported, studio):
    for recording in Recording.objects.all():
        assert recording.state == RecordingState.READ
        assert file_path(studio_id=studio.pk, sha256=recording.channels_sha256).read_bytes()[:4] == b"PAR1"


def test_every_run_says_how_far_and_how_long_its_recording_was_ridden(imported, small_day):
    """Out and back over the simulated course, twice its one way, and at the simulator's own mean speed."""
    session, analysis = imported
    length_m = 2 * small_day[0]["course"]["length_m"]
    speeds = {run["number"]: run["mean_speed_mps"] for run in analysis.result["runs"]}
    for run in session.runs.all():
        assert run.ridden_m == pytest.approx(length_m, rel=0.02)
        assert run.ridden_m / run.ridden_s == pytest.approx(speeds[run.number], rel=0.05)


def test_the_same_bundle_again_is_the_same_session_and_analysis(imported, upload, small_day):
    session, analysis = imported
    assert import_bundle(upload(*small_day)) == {"session": str(session.pk), "analysis": str(analysis.pk)}
    assert (FieldSession.objects.count(), Analysis.objects.count(), Recording.objects.count()) == (1, 1, 4)


def test_analysing_unchanged_records_gives_the_analysis_that_is_there(imported, claim):
    session, analysis = imported
    assert analyse_session(claim("analyse_session", session=str(session.pk)))["analysis"] == str(analysis.pk)


def test_a_run_left_out_since_makes_a_new_analysis(imported, claim, fitter_bo):
    session, analysis = imported
    run = Run.objects.get(session=session, number=4)
    run_update(record=run, by=fitter_bo, version=run.version, changes={"left_out": "stopped at a gate"})
    answer = analyse_session(claim("analyse_session", session=str(session.pk)))
    newer = Analysis.objects.get(pk=answer["analysis"])
    assert newer.supersedes == analysis
    assert newer.result["runs"][3]["cda_m2"] is None


def test_the_bundle_again_after_a_change_answers_for_the_records_as_they_stand(imported, upload, small_day, fitter_bo):
    session, _ = imported
    run = Run.objects.get(session=session, number=4)
    run_update(record=run, by=fitter_bo, version=run.version, changes={"left_out": "stopped at a gate"})
    answer = import_bundle(upload(*small_day))
    assert answer["session"] == str(session.pk)
    assert Analysis.objects.get(pk=answer["analysis"]).result["runs"][3]["cda_m2"] is None


def nothing_was_kept():
    return not any(model.objects.exists() for model in (FieldSession, Recording, Rider, Analysis))


def test_a_bad_recording_refuses_the_whole_bundle(upload, small_day):
    document, files = small_day
    files["run-02.csv"] = b"time,power_w\nnonsense\n"
    with pytest.raises(Refused, match=r"run-02\.csv"):
        import_bundle(upload(document, files))
    assert nothing_was_kept()


def test_a_session_that_cannot_be_estimated_is_refused_whole(upload, small_day):
    document, files = small_day
    document["course"] = {**document["course"], "kind": "track"}
    with pytest.raises(SessionRefused, match="track"):
        import_bundle(upload(document, files))
    assert nothing_was_kept()


def test_a_slow_twin_keeps_nothing(upload, small_day):
    attempt = upload(*small_day)
    progress = attempt.progress

    def lose_the_job(share, message):
        progress(share, message)
        if share == 0.9:
            requeue_jobs_of(worker="one")

    attempt.progress = lose_the_job
    with pytest.raises(Superseded, match="taken over"):
        import_bundle(attempt)
    assert nothing_was_kept()


def test_a_new_session_is_estimated_once(upload, small_day, monkeypatch):
    def refuse(attempt, session):
        raise AssertionError("estimated again from the records: their fingerprint is not the bundle's")

    monkeypatch.setattr(importing, "analyse", refuse)
    import_bundle(upload(*small_day))

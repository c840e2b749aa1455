"""The job that issues a report: numbered without gaps, kept once, refused in words."""

import hashlib

import pytest

import reports.issuing
from analysis.jobs.runner import run
from analysis.results.models import Acceptance, Job
from analysis.results.services.attempts import Attempt, Superseded
from analysis.results.services.evidence import analysis_accept
from analysis.results.services.jobs import claim_next
from reports.models import Report
from studio.records.models import Event
from tests.factories import AnalysisFactory, FieldSessionFactory, JobFactory, ReportFactory, RiderFactory
from tests.reports import stored
from tests.reports.conftest import text_of


@pytest.fixture
def analysis(studio):
    return AnalysisFactory(session=FieldSessionFactory(rider__studio=studio), result=stored.result())


@pytest.fixture
def issue(studio, fitter_bo):
    """Ask for a report and do the job; gives the job as it ended."""

    def do(payload):
        asked = JobFactory(studio=studio, kind="issue_report", payload=payload, requested_by=fitter_bo)
        run(claim_next(worker="test"))
        return Job.objects.get(pk=asked.pk)

    return do


def test_a_report_is_issued_and_the_job_names_it(issue, analysis, fitter_bo):
    job = issue({"analysis": str(analysis.pk)})
    report = Report.objects.get()
    assert (job.state, job.result) == ("done", {"report": str(report.pk)})
    assert (report.number, report.issued_by, report.analysis) == (1, fitter_bo, analysis)
    assert report.facts["result"] == analysis.result


def test_the_kept_bytes_are_those_of_the_kept_facts(issue, analysis):
    issue({"analysis": str(analysis.pk)})
    report = Report.objects.get()
    assert bytes(report.pdf) == reports.issuing.render_pdf(report.facts)
    assert report.pdf_sha256 == hashlib.sha256(bytes(report.pdf)).hexdigest()
    assert "Report 1, page 1 of 1" in text_of(bytes(report.pdf))


def test_numbers_count_on_in_each_studio_by_itself(issue, analysis):
    ReportFactory(number=40)  # of another studio
    for _ in range(3):
        issue({"analysis": str(analysis.pk)})
    assert sorted(Report.objects.filter(studio=analysis.studio).values_list("number", flat=True)) == [1, 2, 3]


def test_issuing_is_noted_in_the_trail(issue, analysis, fitter_bo):
    issue({"analysis": str(analysis.pk)})
    event = Event.objects.get(studio=analysis.studio, verb="issued")
    assert (event.record_kind, event.actor_id) == ("report", fitter_bo.pk)


def test_issuing_accepts_the_analysis(issue, analysis, fitter_bo):
    issue({"analysis": str(analysis.pk)})
    assert Acceptance.objects.get(analysis=analysis).accepted_by == fitter_bo


def test_issuing_an_older_analysis_leaves_the_newer_accepted(issue, analysis, fitter_bo):
    newer = AnalysisFactory(session=analysis.session, number=analysis.number + 1)
    analysis_accept(analysis=newer, by=fitter_bo)
    assert issue({"analysis": str(analysis.pk)}).state == "done"
    assert Acceptance.objects.get().analysis == newer


@pytest.mark.parametrize("payload", [{}, {"analysis": "none"}, {"analysis": "0197f5a0-0000-7000-8000-000000000001"}])
def test_an_unknown_analysis_is_refused_in_words(payload, issue):
    job = issue(payload)
    assert (job.state, job.problem["status"]) == ("refused", 422)
    assert "in this studio" in job.problem["detail"]


def test_another_studios_analysis_is_refused_as_unknown(issue):
    theirs = AnalysisFactory(session=FieldSessionFactory(rider=RiderFactory()), result=stored.result())
    assert issue({"analysis": str(theirs.pk)}).state == "refused"
    assert not Report.objects.exists()


def test_a_number_taken_meanwhile_is_drawn_anew(issue, analysis, monkeypatch):
    """Somebody else issues while our pages are drawn: the next number goes on our pages."""
    draw, rivals = reports.issuing.render_pdf, iter([analysis])

    def slow_draw(facts):
        for theirs in rivals:
            ReportFactory(analysis=theirs, number=1)
        return draw(facts)

    monkeypatch.setattr(reports.issuing, "render_pdf", slow_draw)
    job = issue({"analysis": str(analysis.pk)})
    ours = Report.objects.get(pk=job.result["report"])
    assert ours.number == ours.facts["report"]["number"] == 2


def test_a_stale_attempt_keeps_nothing(studio, analysis, monkeypatch):
    """The sweep gave the job to another worker while we drew."""
    JobFactory(studio=studio, kind="issue_report", payload={"analysis": str(analysis.pk)})
    attempt = claim_next(worker="slow")
    draw = reports.issuing.render_pdf

    def overtaken(facts):
        Job.objects.filter(pk=attempt.job.pk).update(attempts=attempt.job.attempts + 1)
        return draw(facts)

    monkeypatch.setattr(reports.issuing, "render_pdf", overtaken)
    with pytest.raises(Superseded, match="was taken over"):
        reports.issuing.issue_report(Attempt(attempt.job))
    assert not Report.objects.exists()

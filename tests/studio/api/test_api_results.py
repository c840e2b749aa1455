"""Analyses, reports and standings: given back as they are kept, asked for as jobs."""

import json
from pathlib import Path

import jsonschema
import pytest

from analysis.results.models import Job
from tests.factories import AnalysisFactory, ReportFactory
from tests.reports.stored import comparison

REFERENCES = Path(__file__).parents[2] / "references"


@pytest.fixture
def bo(api, fitter_bo):
    return api(fitter_bo)


@pytest.fixture
def analysis(studio):
    return AnalysisFactory(session__rider__studio=studio)


@pytest.fixture
def report(analysis):
    return ReportFactory(analysis=analysis, number=7)


def test_an_analysis_gives_the_result_as_it_is_kept(bo, analysis):
    said = bo.get(f"/api/v1/analyses/{analysis.pk}/").json()
    assert said["result"] == analysis.result
    assert said["session"] == str(analysis.session_id)


def test_a_list_of_analyses_leaves_the_results_out(bo, analysis):
    (said,) = bo.get("/api/v1/analyses/").json()["results"]
    assert "result" not in said


def test_asking_for_a_report_is_202_with_its_job(bo, analysis):
    answer = bo.post("/api/v1/reports/", {"analysis": str(analysis.pk)})
    assert answer.status_code == 202
    job = Job.objects.get(pk=answer.json()["id"])
    assert answer["Location"] == f"/api/v1/jobs/{job.pk}/"
    assert (job.kind, job.payload) == ("issue_report", {"analysis": str(analysis.pk)})


def test_a_report_of_nothing_is_refused(bo, analysis):
    nothing = {"analysis": "00000000-0000-7000-8000-000000000000"}
    assert bo.post("/api/v1/reports/", {}).status_code == 400
    assert bo.post("/api/v1/reports/", nothing).status_code == 422


def test_a_report_is_handed_over_as_the_bytes_that_were_issued(bo, report):
    answer = bo.get(f"/api/v1/reports/{report.pk}/pdf/", HTTP_ACCEPT="application/pdf")
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    assert answer.content == bytes(report.pdf)
    assert answer["Content-Disposition"] == 'attachment; filename="report-7.pdf"'
    assert answer["Cache-Control"] == "private, no-store"


def test_a_pdf_that_is_not_yours_is_a_problem_document_even_to_a_reader_of_pdf(api, outsider_eve, report):
    answer = api(outsider_eve).get(f"/api/v1/reports/{report.pk}/pdf/", HTTP_ACCEPT="application/pdf")
    assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")
    assert answer.json()["status"] == 404


def test_a_client_downloads_the_own_report(api, client_cy, rider_cy):
    report = ReportFactory(analysis__session__rider=rider_cy)
    assert api(client_cy).get(f"/api/v1/reports/{report.pk}/pdf/").status_code == 200


def test_asking_for_an_analysis_is_202_with_its_job(bo, analysis):
    answer = bo.post(f"/api/v1/sessions/{analysis.session_id}/analyse/")
    assert answer.status_code == 202
    job = Job.objects.get(pk=answer.json()["id"])
    assert (job.kind, job.payload) == ("analyse_session", {"session": str(analysis.session_id)})
    assert job.session == analysis.session


def test_accepting_says_what_counts_and_again_is_the_same(bo, analysis):
    told = AnalysisFactory(
        session=analysis.session, number=analysis.number + 1, result={"comparisons": [comparison(changes=())]}
    )
    address = f"/api/v1/analyses/{told.pk}/"
    assert bo.get(f"{address}evidence/").json()["accepted_at"] is None
    answers = [bo.post(f"{address}accept/") for _ in range(2)]
    assert [answer.status_code for answer in answers] == [200, 200]
    assert answers[0].json() == answers[1].json() == bo.get(f"{address}evidence/").json()
    (said,) = answers[0].json()["comparisons"]
    assert (said["changed"], said["excluded"]) == ("B", "Nothing recorded differs between the two setups.")


def test_an_older_analysis_is_not_accepted_over_a_newer(bo, analysis):
    newer = AnalysisFactory(session=analysis.session, number=analysis.number + 1)
    assert bo.post(f"/api/v1/analyses/{newer.pk}/accept/").status_code == 200
    assert bo.post(f"/api/v1/analyses/{analysis.pk}/accept/").status_code == 409


def test_accepting_is_a_fitters(api, client_cy, rider_cy, outsider_eve):
    address = f"/api/v1/analyses/{AnalysisFactory(session__rider=rider_cy).pk}/accept/"
    assert api(client_cy).post(address).status_code == 403
    assert api(outsider_eve).post(address).status_code == 404


@pytest.mark.parametrize("who", ["shop_dee", "owner_ada", "fitter_bo"])
def test_standings_are_an_empty_table_until_there_is_evidence(api, request, who):
    answer = api(request.getfixturevalue(who)).get("/api/v1/standings/?category=wheels")
    assert answer.status_code == 200
    jsonschema.validate(answer.json(), json.loads((REFERENCES / "schemas" / "standings-1.schema.json").read_text()))
    assert answer.json()["products"] == []


def test_standings_refuse_a_key_that_they_do_not_know(api, shop_dee):
    assert api(shop_dee).get("/api/v1/standings/?rider=1").status_code == 400

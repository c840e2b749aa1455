"""The pages of the jobs."""

import pytest

from tests.factories import NOON, JobFactory

FAULTS = [
    {"file": "session.json", "line": None, "key": "runs[3].setup", "given": "'C'", "allowed": "one of 'A', 'B'"},
    {"file": "run-03.csv", "line": 14, "key": "power_w", "given": "'n/a'", "allowed": "a number or nothing"},
]


@pytest.fixture
def job_page(studio, fitter_bo, page):
    def opened(**facts):
        job = JobFactory(studio=studio, requested_by=fitter_bo, **facts)
        return page(fitter_bo, f"/jobs/{job.pk}/")

    return opened


def test_an_unfinished_job_shows_how_far_it_is_and_looks_again(job_page):
    seen = job_page(state="running", lease_until=NOON, progress=0.4, message="reading the recordings")
    assert "At work : reading the recordings" in seen.text
    assert seen.all("progress")[0]["value"] == "40"
    assert {"http-equiv": "refresh", "content": "4"} in seen.all("meta")
    assert any((script["src"] or "").endswith("progress.js") for script in seen.all("script"))


@pytest.mark.parametrize("state", ["done", "failed"])
def test_a_job_that_ended_is_not_watched_any_more(state, job_page):
    seen = job_page(state=state)
    assert not seen.all("script")
    assert "http-equiv" not in {key for one in seen.all("meta") for key in one}


def test_a_done_import_leads_to_the_answer(job_page, analysis):
    result = {"session": str(analysis.session_id), "analysis": str(analysis.pk)}
    links = job_page(kind="import_bundle", state="done", result=result).links()
    assert f"/results/{analysis.pk}/" in links
    assert f"/sessions/{analysis.session_id}/" in links


def test_a_done_report_leads_to_its_pdf(job_page, analysis):
    payload, result = {"analysis": str(analysis.pk)}, {"report": str(analysis.pk)}
    links = job_page(kind="issue_report", state="done", payload=payload, result=result).links()
    assert f"/reports/{analysis.pk}/pdf/" in links
    assert f"/results/{analysis.pk}/" in links


def test_a_refusal_lists_every_fault_with_file_key_given_and_allowed(job_page):
    problem = {"title": "Well formed, and cannot be used", "detail": "", "errors": FAULTS}
    text = job_page(kind="import_bundle", state="refused", problem=problem).text
    assert "2 faults found. Mend them all" in text
    assert "session.json : runs[3].setup Given: 'C' Allowed: one of 'A', 'B'" in text
    assert "run-03.csv , line 14: power_w Given: 'n/a' Allowed: a number or nothing" in text


def test_a_refusal_without_faults_says_its_reason(job_page):
    problem = {"title": "That stands against what is there", "detail": "The rider has another height."}
    assert "The rider has another height." in job_page(state="refused", problem=problem).text


def test_a_failure_says_a_sentence_and_hides_the_traceback(job_page):
    seen = job_page(state="failed", message="A fault of the studio.", traceback="Traceback: secret")
    assert "A fault of the studio." in seen.text
    assert "secret" not in seen.text


def test_the_list_names_who_asked(studio, fitter_bo, page):
    JobFactory(studio=studio, requested_by=fitter_bo, kind="import_bundle", payload={"filename": "day.zip"})
    JobFactory(studio=studio)
    text = page(fitter_bo, "/jobs/").text
    assert "Reading in a session day.zip" in text
    assert "the studio itself" in text


def test_an_empty_list_says_what_to_do(fitter_bo, page):
    assert "Nothing was asked yet" in page(fitter_bo, "/jobs/").text


@pytest.mark.parametrize("count", [2, 20])
def test_the_list_costs_the_same_queries_for_few_and_many(
    count, bare_day, fitter_bo, browser, django_assert_num_queries
):
    JobFactory.create_batch(count, studio=bare_day.studio, session=bare_day, requested_by=fitter_bo)
    client = browser(fitter_bo)
    with django_assert_num_queries(4):  # browser session, user, membership, jobs
        client.get("/jobs/")

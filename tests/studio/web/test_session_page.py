"""One session's records."""

from django.db import connection
from django.test.utils import CaptureQueriesContext

from analysis.results.models import Acceptance, Job
from studio.records.models import Run
from tests.factories import AnalysisFactory, FieldSessionFactory, JobFactory, RunFactory
from tests.studio.web.markup import Page


def test_the_records_are_shown_in_full(analysis, fitter_bo, page):
    text = page(fitter_bo, f"/sessions/{analysis.session_id}/").text
    for words in ("R-CY", "out and back, 1500 m", "run-08.csv", "no: stopped at a gate", "4 s are missing", "1008"):
        assert words in text


def test_what_differs_between_the_setups_is_marked_in_words_too(bare_day, fitter_bo, page):
    seen = page(fitter_bo, f"/sessions/{bare_day.pk}/")
    assert "1 row differs and is marked." in seen.text
    assert "wheels (differs)" in seen.text
    assert "pad stack (mm) (differs)" not in seen.text


def test_staff_may_have_it_analysed_and_a_client_may_not(bare_day, fitter_bo, client_cy, page):
    address = f"/sessions/{bare_day.pk}/analyse/"
    assert address in page(fitter_bo, f"/sessions/{bare_day.pk}/").forms()
    assert address not in page(client_cy, f"/sessions/{bare_day.pk}/").forms()


def test_the_analysis_is_asked_for_as_a_job(bare_day, fitter_bo, browser):
    response = browser(fitter_bo).post(f"/sessions/{bare_day.pk}/analyse/")
    job = Job.objects.get()
    assert response.url == f"/jobs/{job.pk}/"
    assert (job.kind, job.payload) == ("analyse_session", {"session": str(bare_day.pk)})
    assert (job.session, job.requested_by) == (bare_day, fitter_bo)


def test_the_fitter_reads_what_counts_and_why_the_rest_does_not(analysis, fitter_bo, client_cy, page, browser):
    address = f"/sessions/{analysis.session_id}/"
    seen = page(fitter_bo, address)
    assert "Not accepted yet" in seen.text
    assert "The rider has not agreed to pooled results" in seen.text or "does not count" in seen.text
    assert f"{address}accept/" not in page(client_cy, address).forms()
    assert browser(fitter_bo).get(f"{address}accept/").url == address
    assert not Acceptance.objects.exists()
    assert browser(fitter_bo).post(f"{address}accept/", {"analysis": analysis.pk}).url == address
    assert Acceptance.objects.get().accepted_by == fitter_bo
    assert "Accepted on" in page(fitter_bo, address).text


def test_an_analysis_that_nobody_read_is_not_accepted(analysis, fitter_bo, browser):
    """A colleague's newer one came in between the page and its button."""
    AnalysisFactory(session=analysis.session, number=2, supersedes=analysis)
    client = browser(fitter_bo)
    told = client.post(f"/sessions/{analysis.session_id}/accept/", {"analysis": analysis.pk}, follow=True)
    assert "Not accepted: analysis 2 came in since you opened the page." in Page(told.content.decode()).text
    assert not Acceptance.objects.exists()


def test_opening_the_address_of_an_order_orders_nothing(bare_day, fitter_bo, browser):
    response = browser(fitter_bo).get(f"/sessions/{bare_day.pk}/analyse/")
    assert response.url == f"/sessions/{bare_day.pk}/"
    assert not Job.objects.exists()


def test_a_client_orders_nothing(bare_day, client_cy, browser):
    assert browser(client_cy).post(f"/sessions/{bare_day.pk}/analyse/").status_code == 403
    assert not Job.objects.exists()


def test_notes_are_between_fitters(bare_day, fitter_bo, client_cy, page):
    type(bare_day).objects.filter(pk=bare_day.pk).update(note="shoulder looked stiff")
    Run.objects.filter(session=bare_day, number=1).update(note="coughed")
    told = page(fitter_bo, f"/sessions/{bare_day.pk}/").text
    withheld = page(client_cy, f"/sessions/{bare_day.pk}/").text
    assert "shoulder looked stiff" in told
    assert "coughed" in told
    assert "shoulder" not in withheld
    assert "coughed" not in withheld


def test_a_job_at_work_on_the_session_is_linked(bare_day, fitter_bo, page):
    job = JobFactory(studio=bare_day.studio, session=bare_day)
    assert f"/jobs/{job.pk}/" in page(fitter_bo, f"/sessions/{bare_day.pk}/").links()


def test_only_staff_take_the_bundle_out(bare_day, client_cy, outsider_eve, browser):
    address = f"/sessions/{bare_day.pk}/bundle/"
    assert [browser(person).get(address).status_code for person in (client_cy, outsider_eve)] == [403, 404]


def test_another_studio_finds_nothing(analysis, outsider_eve, browser):
    client = browser(outsider_eve)
    addresses = [
        f"/sessions/{analysis.session_id}/",
        f"/results/{analysis.pk}/",
        f"/sessions/{analysis.session_id}/analyse/",
    ]
    assert [client.post(address).status_code for address in addresses] == [404] * 3


def test_the_page_costs_the_same_for_few_and_many_runs(analysis, fitter_bo, browser, django_assert_num_queries):
    client, address = browser(fitter_bo), f"/sessions/{analysis.session_id}/"
    client.get(address)
    with CaptureQueriesContext(connection) as few:
        client.get(address)
    setup = analysis.session.setup_links.first().setup
    for number in range(9, 15):
        RunFactory(session=analysis.session, number=number, setup=setup)
    with django_assert_num_queries(len(few)):
        client.get(address)


def test_a_session_without_a_run_is_no_bundle_and_the_page_says_what_it_lacks(studio, fitter_bo, browser):
    session = FieldSessionFactory(rider__studio=studio)
    answer = browser(fitter_bo).get(f"/sessions/{session.pk}/bundle/")
    assert answer.status_code == 422
    assert "Runs: found none; allowed: at least one run." in Page(answer.content.decode()).text

"""Analysed again: both versions are kept, the newer names the one it supersedes, and both stand side by side."""

import pytest

from analysis.jobs.runner import run_next
from analysis.results.models import Acceptance, Analysis
from reports.numerals import difference
from reports.wording import VERDICT_WORDS
from studio.records.models import Correction, FieldSession, Run
from studio.records.selectors.bundles import session_document
from studio.records.services.runs import run_update
from studio.web.before_and_after import rows
from tests.factories import AnalysisFactory, SetupFactory
from tests.studio.web.markup import Page
from tests.studio.web.stories import story
from tests.studio.web.test_main_path_by_form import zipped_day


@pytest.fixture
def bo(fitter_bo, browser):
    return browser(fitter_bo)


@pytest.fixture
def again(analysis):
    """The day analysed again, and undecided now."""
    return AnalysisFactory(session=analysis.session, number=2, supersedes=analysis, result=story("undecided"))


def seen(response):
    assert response.status_code == 200, response.content.decode()
    return Page(response.content.decode())


def test_a_run_is_left_out_the_day_analysed_again_and_both_versions_shown(bo):
    """The whole way with a day's recordings: upload, leave out, analyse, compare."""
    bo.post("/upload/", {"bundle": zipped_day()})
    assert run_next(worker="test")
    session, first = FieldSession.objects.get(), Analysis.objects.get()
    assert "The records say something else now" not in seen(bo.get(f"/sessions/{session.pk}/")).text
    run = session.runs.get(number=2)
    bo.post(f"/runs/{run.pk}/", {"act": "leave-out", "version": run.version, "left_out": "a van passed"})
    page = seen(bo.get(f"/sessions/{session.pk}/"))
    assert "The records say something else now than analysis 1 was made from." in page.text
    bo.post(next(form for form in page.forms() if form.endswith("/analyse/")))
    assert run_next(worker="test")
    second = Analysis.objects.get(number=2)
    assert (second.supersedes, Analysis.objects.count()) == (first, 2)
    page = seen(bo.get(f"/sessions/{session.pk}/"))
    assert "takes the place of analysis 1" in page.text
    assert "The records say something else now" not in page.text
    both = seen(bo.get(next(link for link in page.links() if link.endswith("/before/")))).text
    for one in (first, second):
        assert difference(one.result["comparisons"][0]["ridden_delta_m2"], "m2") in both
    label = run.setup.label
    assert f"run 2 (differs) {label}: " in both
    assert f"{label}: left out" in both
    assert "Left out: run 2 (a van passed)" in both


def test_a_setup_that_lost_all_its_runs_is_neither_analysed_nor_exported(bo):
    """The reference was in truth another setup: its runs go over one by one, the last hands its place over."""
    bo.post("/upload/", {"bundle": zipped_day()})
    assert run_next(worker="test")
    session = FieldSession.objects.get()
    old = session.setup_links.get(reference=True).setup
    right = SetupFactory(bike=session.bike, label="truly ridden", system_mass_kg=old.system_mass_kg)
    for run in session.runs.filter(setup=old):
        bo.post(f"/runs/{run.pk}/", {"act": "reassign", "version": run.version, "setup": right.pk})
    bo.post(f"/sessions/{session.pk}/analyse/")
    assert run_next(worker="test")
    result = Analysis.objects.get(number=2).result
    assert old.label not in {setup["label"] for setup in result["setups"]}
    assert {comparison["reference"] for comparison in result["comparisons"]} == {"truly ridden"}
    assert "setup_unmatched" not in {warning["code"] for warning in result["warnings"]}
    exported = session_document(FieldSession.objects.get(), complete=True)["setups"]
    assert [setup["label"] for setup in exported if setup["reference"]] == ["truly ridden"]
    assert old.label not in {setup["label"] for setup in exported}


def test_verdict_and_figures_of_both_are_told_and_what_differs_is_marked(bo, again):
    text = seen(bo.get(f"/results/{again.pk}/before/")).text
    assert f"verdict (differs) {VERDICT_WORDS['faster']} {VERDICT_WORDS['undecided']}" in text
    assert "\N{MINUS SIGN}0.0041 (\N{MINUS SIGN}0.0057 to \N{MINUS SIGN}0.0025)" in text
    assert "\N{MINUS SIGN}0.0017 (\N{MINUS SIGN}0.0043 to +0.0009)" in text
    assert "run 4 A: " in text  # the same in both: not marked


def test_the_newer_answer_and_the_session_lead_there(bo, again):
    for address in (f"/results/{again.pk}/", f"/sessions/{again.session_id}/"):
        assert f"/results/{again.pk}/before/" in seen(bo.get(address)).links()
    assert f"/results/{again.supersedes_id}/before/" not in seen(bo.get(f"/sessions/{again.session_id}/")).links()


def test_the_first_analysis_has_nothing_before_it(bo, analysis):
    assert bo.get(f"/results/{analysis.pk}/before/").url == f"/results/{analysis.pk}/"


def test_a_rider_sees_both_versions_and_no_words_between_fitters(again, client_cy, outsider_eve, browser, analysis):
    Acceptance.objects.create(
        studio=analysis.studio, session=analysis.session, analysis=analysis, accepted_at=analysis.created_at
    )
    page = seen(browser(client_cy).get(f"/results/{again.pk}/before/"))
    assert "What was put right" not in page.text
    assert "Accepted is" not in page.text
    assert not [link for link in page.links() if "corrections" in link]
    assert browser(outsider_eve).get(f"/results/{again.pk}/before/").status_code == 404


def test_the_fitter_is_told_which_is_accepted_and_what_was_put_right(bo, analysis):
    Acceptance.objects.create(
        studio=analysis.studio, session=analysis.session, analysis=analysis, accepted_at=analysis.created_at
    )
    run = Run.objects.select_related("session", "setup", "studio").get(session=analysis.session, number=2)
    run_update(record=run, by=None, version=1, changes={"left_out": "a gust"})
    later = AnalysisFactory(session=analysis.session, number=2, supersedes=analysis, result=story("undecided"))
    text = seen(bo.get(f"/results/{later.pk}/before/")).text
    assert "Accepted is analysis 1." in text
    assert "Left out: run 2 (a gust)" in text
    assert Correction.objects.count() == 1


def test_another_engine_on_the_same_records_is_said(bo, analysis):
    same = {"inputs_sha256": analysis.inputs_sha256, "engine_version": "1"}
    later = AnalysisFactory(session=analysis.session, number=2, supersedes=analysis, result=story("faster"), **same)
    assert "The records are the same" in seen(bo.get(f"/results/{later.pk}/before/")).text


def test_what_only_one_of_them_tells_has_its_row():
    made = rows({"run 1": "A: 0.2400", "run 2": "A: 0.2410"}, {"run 2": "A: 0.2410", "run 3": "B: 0.2390"}, "none")
    assert [(row.name, row.before, row.after, row.differs) for row in made] == [
        ("run 2", "A: 0.2410", "A: 0.2410", False),
        ("run 3", "none", "B: 0.2390", True),
        ("run 1", "A: 0.2400", "none", True),
    ]

"""One session's answer."""

import pytest

from analysis.core.types import Change
from analysis.results.models import Job
from reports.models import Report
from reports.numerals import amount
from tests.factories import AnalysisFactory
from tests.studio.web.days import answered, day
from tests.studio.web.stories import CDA, PADS, comparison, story


def first_words(seen, count=400):
    return seen.text[seen.text.index("the session's records") :][:count].replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("verdict", "sentence"),
    [
        ("faster", "Setup B is faster than setup A"),
        ("slower", "Setup B is slower than setup A"),
        ("equivalent", "are equal for practical purposes"),
        ("undecided", "does not tell whether setup B or setup A is faster"),
        ("invalid", "gives no answer on setup B against setup A"),
    ],
)
def test_the_answer_comes_first_in_a_sentence(verdict, sentence, rider_cy, client_cy, page):
    seen = page(client_cy, f"/results/{answered(rider_cy, verdict).pk}/")
    assert sentence in first_words(seen)


def test_undecided_says_what_would_decide_it(rider_cy, client_cy, page):
    seen = page(client_cy, f"/results/{answered(rider_cy, 'undecided').pk}/")
    assert "About 12 more runs" in first_words(seen, 700)


def test_watts_and_seconds_are_printed_as_stored(analysis, client_cy, page):
    text = page(client_cy, f"/results/{analysis.pk}/").text
    stored = analysis.result["comparisons"][0]
    assert f"watts at 40 km/h \u2212{amount(-stored['watts'][0]['delta_w'], 'W')}" in text
    assert f"seconds over 40 km at 250 W \u2212{amount(-stored['time'][0]['delta_s'], 's')}" in text


def test_every_run_stands_in_the_figure_and_in_the_table(analysis, client_cy, page):
    seen = page(client_cy, f"/results/{analysis.pk}/")
    assert [svg["role"] for svg in seen.all("svg")] == ["img"]
    assert {"title", "desc"} <= {tag for tag, _ in seen.elements}
    for run in analysis.result["runs"]:
        shown = f"{run['number']} {run['setup']} " + (amount(run["cda_m2"], "m2") if run["cda_m2"] else "left out")
        assert shown in seen.text


def test_the_interval_of_a_run_reaches_two_standard_uncertainties(analysis, client_cy, page):
    run = analysis.result["runs"][0]
    low, high = run["cda_m2"] - 2 * run["u_m2"], run["cda_m2"] + 2 * run["u_m2"]
    assert f"{amount(low, 'm2')} to {amount(high, 'm2')}" in page(client_cy, f"/results/{analysis.pk}/").text


def test_setups_carry_both_intervals(analysis, client_cy, page):
    text = page(client_cy, f"/results/{analysis.pk}/").text
    assert f"A 4 {CDA['A']:.4f} 0.2388 to 0.2418 0.2313 to 0.2493" in text


def test_what_changed_is_told_fact_by_fact(rider_cy, client_cy, page):
    result = story(comparisons=(comparison(changes=(PADS,)),))
    seen = page(client_cy, f"/results/{AnalysisFactory(session=day(rider_cy), result=result).pk}/")
    assert "pad stack 610 mm 590 mm" in seen.text
    assert "reach" not in seen.text.split("What changed Fact")[1].split("What it is worth")[0]


def test_what_changed_stands_beside_the_answer(analysis, client_cy, page):
    seen = page(client_cy, f"/results/{analysis.pk}/")
    assert "What changed: wheels, from Tarn 40 to Tarn 50." in first_words(seen)


def test_a_long_list_of_changes_is_cut_beside_the_answer_and_whole_below(rider_cy, client_cy, page):
    numbers = [{f"part_{n}_mm": n + side for n in range(6)} for side in (0, 1)]
    result = story(comparisons=(comparison(changes=(Change("position", *numbers),)),))
    text = page(client_cy, f"/results/{AnalysisFactory(session=day(rider_cy), result=result).pk}/").text
    assert "part 3, from 3 mm to 4 mm; and 2 more below." in text
    assert "part 5 5 mm 6 mm" in text


def test_rolling_gets_rows_of_its_own(rider_cy, client_cy, page):
    result = story(comparisons=(comparison(delta_crr=-0.0003, ci95_crr=(-0.0006, 0.0)),))
    text = page(client_cy, f"/results/{AnalysisFactory(session=day(rider_cy), result=result).pk}/").text
    assert "rolling coefficient Crr \u22120.00030 \u22120.00060 to 0.00000" in text


def test_labels_and_products_of_others_are_never_markup(rider_cy, client_cy, page):
    hostile = "<script>alert(1)</script>"
    changes = (Change("items.wheels", hostile, "<b>"),)
    result = story(comparisons=(comparison(changed=hostile, changes=changes),))
    result["setups"][1]["label"] = hostile
    seen = page(client_cy, f"/results/{AnalysisFactory(session=day(rider_cy, title=hostile), result=result).pk}/")
    assert not {"script", "b"} & {tag for tag, _ in seen.elements}
    assert hostile in seen.text


def test_warnings_say_what_to_do(analysis, client_cy, page):
    text = page(client_cy, f"/results/{analysis.pk}/").text
    assert "Read this. Runs 5-8: The air-speed sensor read 2.1 % lower from here on. Check the mount" in text


def test_the_usual_cautions_stand_on_the_page(analysis, client_cy, page):
    text = page(client_cy, f"/results/{analysis.pk}/").text
    assert "licensed clinician" in text
    assert "lower of the tyre's and the rim's limit" in text


def test_a_session_of_one_setup_has_nothing_to_compare(rider_cy, client_cy, page):
    analysis = AnalysisFactory(session=day(rider_cy), result=story(comparisons=()))
    assert "One setup was ridden" in page(client_cy, f"/results/{analysis.pk}/").text


def test_an_older_analysis_points_to_the_newer(analysis, client_cy, page):
    newer = AnalysisFactory(session=analysis.session, number=2, result=analysis.result)
    assert f"/results/{newer.pk}/" in page(client_cy, f"/results/{analysis.pk}/").links()


def test_a_report_is_asked_for_as_a_job(analysis, fitter_bo, browser):
    response = browser(fitter_bo).post(f"/results/{analysis.pk}/report/")
    job = Job.objects.get()
    assert response.url == f"/jobs/{job.pk}/"
    assert (job.kind, job.payload, job.session) == ("issue_report", {"analysis": str(analysis.pk)}, analysis.session)


def test_a_client_downloads_and_cannot_issue(analysis, client_cy, page, browser):
    seen = page(client_cy, f"/results/{analysis.pk}/")
    assert f"/results/{analysis.pk}/report/" not in seen.forms()
    assert f"/reports/{Report.objects.get().pk}/pdf/" in seen.links()
    assert browser(client_cy).post(f"/results/{analysis.pk}/report/").status_code == 403


def test_the_pdf_is_handed_over_byte_by_byte(analysis, client_cy, browser):
    report = Report.objects.get()
    response = browser(client_cy).get(f"/reports/{report.pk}/pdf/")
    assert response.content == bytes(report.pdf)
    assert response.headers["Content-Type"] == "application/pdf"
    assert response.headers["Content-Disposition"] == f'attachment; filename="report-{report.number:04d}.pdf"'


@pytest.mark.parametrize(("person", "status"), [("outsider_eve", 404), ("shop_dee", 403)])
def test_nobody_else_gets_the_pdf(person, status, analysis, browser, request):
    client = browser(request.getfixturevalue(person))
    assert client.get(f"/reports/{Report.objects.get().pk}/pdf/").status_code == status

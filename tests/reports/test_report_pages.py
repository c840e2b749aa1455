"""The pages of a report: how many, what stands on each, which fonts, the same bytes from the same facts."""

import io
import os
import subprocess
import sys
from pathlib import Path

import pikepdf
import pypdf
import pytest

from reports.render import render_pdf
from tests.reports import stored
from tests.reports.conftest import text_of

ROOT = Path(__file__).parents[2]
VERDICTS = ["faster", "slower", "equivalent", "undecided", "invalid"]
RENDER = """
import hashlib
from reports.render import render_pdf
from tests.reports import stored
print(hashlib.sha256(b"".join(render_pdf(stored.facts(stored.result(v))) for v in stored.CASES)).hexdigest())
"""


def pages(pdf):
    return pypdf.PdfReader(io.BytesIO(pdf)).pages


@pytest.mark.parametrize("verdict", VERDICTS)
def test_the_ordinary_report_is_one_a4_page(verdict, rendered):
    """A4 by ISO 216: 210 mm by 297 mm."""
    (page,) = pages(rendered(verdict))
    assert float(page.mediabox.width) == pytest.approx(210 / 25.4 * 72, abs=0.5)
    assert float(page.mediabox.height) == pytest.approx(297 / 25.4 * 72, abs=0.5)


def test_six_findings_still_fit_one_page(read):
    found = [
        stored.warning("traffic", where=f"run {n}", what="the air flow was unlike its twins", do="ride this run again")
        for n in range(1, 7)
    ]
    assert "page 1 of 1" in read(stored.facts(stored.result(warnings=found)))


@pytest.mark.parametrize(
    ("verdict", "words"),
    [
        ("faster", "Setup B is faster than setup A: 0.0062 m² less drag area"),
        ("slower", "Setup B is slower than setup A: 0.0051 m² more drag area"),
        ("equivalent", "Setup B and setup A are equal for practical purposes"),
        ("undecided", "The test does not tell whether setup B or setup A is faster"),
        ("invalid", "This test gives no answer on setup B against setup A"),
    ],
)
def test_each_verdict_is_said_in_words(verdict, words, rendered):
    assert words in text_of(rendered(verdict))


def test_an_undecided_report_says_how_many_runs_would_decide(rendered):
    assert "About 12 more runs, both setups together, would probably decide it." in text_of(rendered("undecided"))


def test_an_invalid_report_says_why_and_tells_no_figure(rendered):
    text = text_of(rendered("invalid"))
    assert "No closed path was found." in text
    assert "less drag area" not in text
    assert "not known kg" not in text


def test_a_long_report_flows_on_with_head_and_foot_on_each_page(read):
    found = [stored.warning(what=f"finding {n}: " + "the mount sagged and was put right again " * 4) for n in range(40)]
    pdf = render_pdf(stored.facts(stored.result(warnings=found)))
    count = len(pages(pdf))
    assert count > 1
    for number, page in enumerate(pages(pdf), start=1):
        assert f"Report 12, page {number} of {count}" in page.extract_text()
        assert "Relates only to the items tested." in page.extract_text()
    text = text_of(pdf)
    assert all(f"Finding {n}:" in text for n in range(40))
    assert text.count("end of report 12") == 1
    assert "end of report 12" in pages(pdf)[-1].extract_text()


def test_three_setups_are_compared_each_with_the_reference(read):
    text = read(stored.facts(stored.three_setups()))
    assert "Setup B is faster than setup A" in text
    assert "whether setup C or setup A is faster" in text
    assert "wheels Tarn 40 (serial W0) Tarn 50 (serial W1) as before" in text
    assert "pad stack 610 mm as before 600 mm" in text
    assert "saddle height" not in text


def test_with_several_setups_the_answer_carries_the_simultaneous_interval(read):
    assert "95 % interval 0.0029 to 0.0094 m² less" in read(stored.facts(stored.three_setups()))


def test_nine_setups_keep_every_column(read):
    labels = "ABCDEFGHI"
    changed = [stored.comparison("faster", changed=label) for label in labels[1:]]
    result = stored.result(
        runs=[stored.run(i + 1, label) for i, label in enumerate(labels * 2)],
        setups=[stored.setup(label, 0.24 - 0.001 * i, 2) for i, label in enumerate(labels)],
        comparisons=changed,
    )
    text = read(stored.facts(result))
    assert all(f"After: {label}" in text for label in labels[1:])


def test_one_setup_alone_is_a_report_without_a_comparison(read):
    result = stored.result(comparisons=[], setups=[stored.setup("A", 0.2405, 8)])
    assert "nothing to compare" in read(stored.facts(result))


def test_tyres_and_rolling_are_told_apart(read):
    comparison = stored.comparison("faster", delta_crr=-0.000312, ci95_crr=[-0.00061, -0.00001])
    text = read(stored.facts(stored.result(comparisons=[comparison])))
    assert "less resistance, written as drag area" in text
    assert "rolling coefficient −0.00031 (95 % interval −0.00061 to −0.00001)" in text


def test_too_few_runs_for_an_interval_are_said_so(read):
    none = dict.fromkeys(["ci95_m2", "ridden_ci95_m2", "ridden_ci90_m2", "p_value", "df", "repeatability_sd_m2"])
    comparison = stored.comparison("undecided", **none)
    comparison["watts"][0]["ci95_w"] = comparison["time"][0]["ci95_s"] = None
    text = read(stored.facts(stored.result(comparisons=[comparison])))
    assert "too few runs for an interval" in text
    assert "no interval: too few runs" in text


def test_left_out_runs_stand_with_their_reasons(read):
    runs = [stored.run(i + 1, "AB"[i % 2], None if i == 3 else 0.24) for i in range(8)]
    text = read(stored.facts(stored.result(runs=runs), left_out={"4": "stopped at a gate"}))
    assert "7 of 8 used; left out: 4 (stopped at a gate)" in text


def test_what_a_test_report_owes_is_there(rendered):
    """Items of ISO/IEC 17025:2017, 7.8.2 (from memory): number, pages, end, customer, dates, issuer, items tested."""
    text = text_of(rendered("faster"))
    for owed in (
        "Report 12, page 1 of 1",
        "end of report 12",
        "Cy Marrow (R-014)",
        "Tested 2026-05-09, issued 2026-05-11 13:03 (Atlantic/Azores) by Bo Lindqvist",
        "Relates only to the items tested.",
        "Tarn 50 (serial W1)",
        "Bike: Test bike, time trial. The same in all setups: helmet Orlo Vent.",
        "out and back, 1500 m one way, bearing 60°, asphalt",
        "side force neglected",
        "engine 0.1.0",
        "inputs " + "3f" * 32,
    ):
        assert owed in text


def test_the_cautions_are_on_the_page(rendered):
    text = text_of(rendered("faster"))
    assert "licensed clinician" in text
    assert "lower of the tyre's and the rim's limit" in text
    assert "Local law and licensed practice come first." in text


@pytest.mark.parametrize("verdict", VERDICTS)
def test_all_fonts_are_embedded(verdict, rendered):
    with pikepdf.open(io.BytesIO(rendered(verdict))) as pdf:
        fonts = [font for page in pdf.pages for font in page.Resources.Font.values()]
        assert fonts
        assert all("/FontFile2" in font.FontDescriptor for font in fonts)


def test_the_file_says_what_it_is(rendered):
    reader = pypdf.PdfReader(io.BytesIO(rendered("faster")))
    assert reader.metadata.title == "Report 12: Two wheels, 2026-05-09"
    assert reader.metadata.author == "Leeward Studio"
    assert reader.metadata.creation_date.isoformat() == "2026-05-11T13:03:27+00:00"
    assert reader.trailer["/Root"]["/Lang"] == "en-GB"
    names = [entry.title for entry in reader.outline[1]]
    assert names == [
        "The answer: faster",
        "What changed",
        "Every run",
        "Conditions and method",
        "What to know about this result",
        "How sure, and what the words mean",
        "On the road",
    ]


def test_the_same_facts_give_the_same_bytes():
    facts = stored.facts()
    assert render_pdf(facts) == render_pdf(facts)


def test_other_processes_hash_seeds_and_build_dates_give_the_same_bytes():
    """Also without Django: drawing needs facts and nothing else."""
    seen = set()
    for seed, zone, date in (("1", "UTC", None), ("4242", "Pacific/Auckland", "1500000000")):
        environment = os.environ | {"PYTHONHASHSEED": seed, "TZ": zone}
        environment.pop("DJANGO_SETTINGS_MODULE", None)
        environment |= {"SOURCE_DATE_EPOCH": date} if date else {}
        done = subprocess.run(
            [sys.executable, "-W", "error", "-c", RENDER], cwd=ROOT, env=environment, capture_output=True, check=True
        )
        seen.add(done.stdout)
    assert len(seen) == 1


def test_other_facts_give_other_bytes():
    assert render_pdf(stored.facts()) != render_pdf(stored.facts(stored.result("slower")))

"""Every printed number equals the stored one, read back from the PDF; nothing else is printed as a number."""

import io
import json
import shutil
import subprocess
from decimal import Decimal

import pikepdf
import pytest

from reports.numerals import MINUS
from reports.render import render_pdf
from tests.reports import stored
from tests.reports.conftest import numbers, section, text_of, unfounded


@pytest.mark.parametrize("verdict", ["faster", "slower", "equivalent", "undecided"])
def test_the_answer_carries_difference_watts_and_seconds_with_their_intervals(verdict, rendered):
    text = section(text_of(rendered(verdict)), "The answer", "What changed")
    delta, ninety, watts, seconds, _ = stored.CASES[verdict]
    decisive = [delta[0], *ninety] if verdict == "equivalent" else delta
    expected = [(decisive, 4), (delta, 4), (watts, 1), (seconds, 1)]
    found = numbers(text)
    for values, places in expected:
        for value in values:
            assert abs(Decimal(f"{value:.{places}f}")) in {abs(number) for number in found}


@pytest.mark.parametrize("verdict", ["faster", "slower", "equivalent", "undecided", "invalid"])
def test_no_number_is_printed_that_the_facts_do_not_hold(verdict, rendered):
    assert unfounded(stored.facts(stored.result(verdict)), text_of(rendered(verdict))) == []


def test_three_setups_print_no_number_that_the_facts_do_not_hold(read):
    facts = stored.facts(stored.three_setups())
    assert unfounded(facts, read(facts)) == []


def test_a_number_from_nowhere_is_found(read):
    """The two tests above can fail."""
    facts, other = stored.facts(), stored.facts(stored.result("slower"))
    assert unfounded(facts, read(other))


def test_signs_are_those_of_the_stored_result(rendered):
    text = text_of(rendered("faster"))
    assert f"{MINUS}0.0062 m² drag area; minus is less 95 % interval {MINUS}0.0088 to {MINUS}0.0035" in text
    assert f"{MINUS}5.4 W at 40 km/h 95 % interval {MINUS}7.7 to {MINUS}3.1" in text


def test_setups_runs_and_conditions_are_the_stored_ones(rendered):
    text = text_of(rendered("faster"))
    result = stored.result("faster")
    for setup in result["setups"]:
        low, high = setup["ci95_m2"]
        assert f"{setup['cda_m2']:.4f} (95 %: {low:.4f} to {high:.4f})" in text
    assert "Air density 1.214 kg/m³" in text
    assert f"Speed {10.31 * 3.6:.1f} km/h" in text
    assert "system mass 82 kg, rolling coefficient 0.0042, drivetrain efficiency 0.975" in text
    assert "Wind angle 5.3°" in text


def test_certainty_names_degrees_of_freedom_and_the_decision_rule(rendered):
    text = text_of(rendered("undecided"))
    assert "6.0 degrees of freedom, p = 0.0031, one run repeats to 0.0015 m² (standard deviation)" in text
    assert "90 % interval lies within ±0.0020 m² (two one-sided tests at 5 %)" in text


def test_coverage_factor_and_standard_uncertainty_are_the_stored_ones(rendered):
    """JCGM 100:2008, table G.2: 2.45 for 6 degrees of freedom at 95 %."""
    text = text_of(rendered("faster"))
    assert "standard uncertainty 0.0011 m², coverage factor k = 2.45, 6.0 degrees of freedom" in text


def test_all_facts_travel_with_the_pages(rendered):
    facts = stored.facts(stored.result("slower"))
    with pikepdf.open(io.BytesIO(render_pdf(facts))) as pdf:
        attached = pdf.attachments["facts.json"].get_file().read_bytes()
    assert json.loads(attached) == facts


def test_another_reader_sees_the_same_answer(rendered, tmp_path):
    program = shutil.which("pdftotext")
    if program is None:
        pytest.skip("pdftotext (poppler) is not on this machine: the second reader of the PDF is left out")
    path = tmp_path / "report.pdf"
    path.write_bytes(rendered("faster"))
    text = subprocess.run([program, str(path), "-"], capture_output=True, check=True, encoding="utf-8").stdout
    assert f"{MINUS}0.0062" in text
    assert "Setup B is faster than setup A" in text.replace("\N{NO-BREAK SPACE}", " ")

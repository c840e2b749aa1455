"""Every printed number equals the stored one, read back from the PDF; nothing else is printed as a number."""

import io
import json
import re
import shutil
import subprocess
from decimal import Decimal

import pikepdf
import pytest

from reports.numerals import MINUS
from reports.render import render_pdf
from tests.reports import stored
from tests.reports.conftest import text_of

NUMBER = re.compile(rf"(?<![\w.])[+{MINUS}]?\d+(?:\.\d+)?(?![\w]|\.\d)")


def numbers(text):
    return {Decimal(found.replace(MINUS, "-")) for found in NUMBER.findall(text)}


def section(text, begin, end):
    return text[text.index(begin) : text.index(end, text.index(begin))]


def leaves(document):
    """Every number that the facts hold, in any depth."""
    if isinstance(document, dict | list):
        for inner in document.values() if isinstance(document, dict) else document:
            yield from leaves(inner)
    elif isinstance(document, int | float) and not isinstance(document, bool):
        yield Decimal(repr(document))


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
    facts = stored.facts(stored.result(verdict))
    text = section(text_of(rendered(verdict)), "The answer" if verdict != "invalid" else "No answer", "What to know")
    held = [*leaves(facts), *(value * Decimal("3.6") for value in leaves(facts)), Decimal(8)]
    axis = {Decimal(k) / 1000 for k in range(180, 321)}  # the figure's scale
    constants = {Decimal(n) for n in (2, 90, 95, 1998, 2007)}  # coverage, standards' years
    text = re.sub(r"\d{4}-\d{2}-\d{2}|\d\d:\d\d|[0-9a-f]{64}|\(SHA-256\)|CIPM-2007|plain-1|0\.1\.0|Tarn \d+", "", text)
    for number in numbers(text) - axis - constants:
        places = -number.as_tuple().exponent
        near = [
            value for value in held if abs(abs(value) - abs(number)) <= Decimal(1).scaleb(-places) / 2 + Decimal("1e-9")
        ]
        assert near, f"{number} is printed, and no stored number rounds to it"


def test_signs_are_those_of_the_stored_result(rendered):
    text = text_of(rendered("faster"))
    assert f"{MINUS}0.0062 m² drag area, minus is less drag 95 % interval {MINUS}0.0088 to {MINUS}0.0035" in text
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


def test_a_stored_coverage_factor_is_printed(read):
    """JCGM 100 table G.2: 2.45 for 6 degrees of freedom at 95 %."""
    comparison = stored.comparison("faster", coverage_factor=2.446912)
    assert "coverage factor k = 2.45, 6.0 degrees" in read(stored.facts(stored.result(comparisons=[comparison])))


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

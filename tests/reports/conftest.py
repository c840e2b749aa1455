"""Rendered reports, each made once, and their text as a reader gets it back."""

import io
import re
from decimal import Decimal

import pypdf
import pytest

from reports.numerals import MINUS
from reports.render import render_pdf
from tests.reports import stored


def text_of(pdf):
    """All words of a PDF, lines joined, no-break spaces as spaces."""
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages).replace("\N{NO-BREAK SPACE}", " "))


# Figures that are no measurement: dates, times, fingerprints, versions, names of standards and of setups' items.
NAMES = re.compile(
    r"\d{4}-\d{2}-\d{2}|\d\d:\d\d|[0-9a-f]{64}|\(SHA-256\)|CIPM-2007|plain-1|0\.1\.0|Tarn \d+|Pellin \d+|serial \w+"
)
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


def unfounded(facts, text):
    """Numbers between the answer and the findings that no stored number rounds to."""
    begin = "No answer" if "No answer This" in text else "The answer"
    told = NAMES.sub("", section(text, begin, "What to know"))
    stored = list(leaves(facts))
    held = [*stored, *(value * Decimal("3.6") for value in stored), Decimal(len(facts["result"]["runs"]))]
    axis = {Decimal(k) / 1000 for k in range(150, 400)}  # the figure's scale
    constants = {Decimal(n) for n in (2, 90, 95, 1998)}  # coverage of bars, of intervals; a standard's year
    return [n for n in numbers(told) - axis - constants if not any(_rounds_to(value, n) for value in held)]


def _rounds_to(value, number):
    half = Decimal(1).scaleb(number.as_tuple().exponent) / 2
    return abs(abs(value) - abs(number)) <= half + Decimal("1e-9")


@pytest.fixture(scope="session")
def rendered():
    """Verdict, or facts, to bytes."""
    made = {}

    def render(verdict):
        if verdict not in made:
            made[verdict] = render_pdf(stored.facts(stored.result(verdict)))
        return made[verdict]

    return render


@pytest.fixture(scope="session")
def read():
    """Facts to the text that comes back out of their PDF."""
    return lambda facts: text_of(render_pdf(facts))

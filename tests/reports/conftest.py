"""Rendered reports, each made once, and their text as a reader gets it back."""

import io
import re

import pypdf
import pytest

from reports.render import render_pdf
from tests.reports import stored


def text_of(pdf):
    """All words of a PDF, lines joined, no-break spaces as spaces."""
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages).replace("\N{NO-BREAK SPACE}", " "))


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

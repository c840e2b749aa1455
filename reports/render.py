"""Frozen facts to the bytes of a PDF. No database, no clock: the same facts give the same bytes, on any machine.

What the pages say is `sections.py`'s matter. The facts travel with the pages as `facts.json`.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import pikepdf
from reportlab.pdfgen.canvas import Canvas

from reports import fonts
from reports.canonical import canonical
from reports.canvas import draw
from reports.layout import PAGE_HEIGHT, PAGE_WIDTH, Sheet
from reports.scripts import clean
from reports.sections import document_title, lay_out

LANGUAGE = "en-GB"
CREATOR = "Windledger"


def render_pdf(facts: Mapping[str, Any]) -> bytes:
    """The report as a PDF: A4, embedded fonts, bookmarks, the facts attached."""
    fonts.load_main_fonts()
    issued = datetime.fromisoformat(facts["report"]["issued_at"]).astimezone(UTC)
    sheet = lay_out(facts)
    buffer = io.BytesIO()
    canvas = Canvas(
        buffer,
        pagesize=(PAGE_WIDTH, PAGE_HEIGHT),
        invariant=1,
        pageCompression=1,
        initialFontName=fonts.REGULAR,  # type: ignore[arg-type]  # the stubs say float
        lang=LANGUAGE,
    )
    _set_facts_of_the_file(canvas, facts, issued)
    _draw_pages(canvas, sheet)
    canvas.save()
    return _with_facts(buffer.getvalue(), facts, issued)


def _set_facts_of_the_file(canvas: Canvas, facts: Mapping[str, Any], issued: datetime) -> None:
    # The library dates a repeatable file 2000-01-01 and offers no other door to its clock.
    stamp = canvas._doc._timeStamp  # type: ignore[attr-defined]
    stamp.t, stamp.lt, stamp.YMDhms = issued.timestamp(), issued.timetuple(), tuple(issued.timetuple())[:6]
    stamp.dhh, stamp.dmm, stamp.tzname = 0, 0, "UTC"
    canvas.setTitle(clean(document_title(facts)))
    canvas.setAuthor(clean(facts["studio"]["name"]))
    canvas.setSubject("Drag areas before and after a change")
    canvas.setCreator(CREATOR)
    canvas.setProducer(CREATOR)
    canvas.setViewerPreference("DisplayDocTitle", "true")


def _draw_pages(canvas: Canvas, sheet: Sheet) -> None:
    for number, page in enumerate(sheet.pages):
        for i, mark in enumerate(sheet.bookmarks):
            if mark.page == number:
                canvas.bookmarkHorizontal(f"place-{i}", 0, PAGE_HEIGHT - mark.y)
                canvas.addOutlineEntry(clean(mark.title), f"place-{i}", level=0 if i == 0 else 1, closed=False)
        draw(canvas, page.shapes, left=0, top=PAGE_HEIGHT)
        canvas.showPage()


def _with_facts(pages: bytes, facts: Mapping[str, Any], issued: datetime) -> bytes:
    """The same file with `facts.json` attached."""
    buffer = io.BytesIO()
    dated = f"D:{issued:%Y%m%d%H%M%S}Z"
    with pikepdf.open(io.BytesIO(pages)) as pdf:
        pdf.attachments["facts.json"] = pikepdf.AttachedFileSpec(
            pdf,
            canonical(facts),
            filename="facts.json",
            description="Every number of this report as it is stored",
            mime_type="application/json",
            creation_date=dated,
            mod_date=dated,
        )
        del pdf.trailer["/ID"]  # its first half would come from the library's clock; both are made from the content
        pdf.save(buffer, deterministic_id=True)
    return buffer.getvalue()

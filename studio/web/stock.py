"""Products, prices and stock by file: what the file would do is shown line by line, and a button does just that."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Sequence
from pathlib import PurePath
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.views.decorators.csrf import csrf_exempt, csrf_protect

from analysis.readers.faults import Fault, Refused
from studio.records.errors import Conflict, RecordsError
from studio.records.services.stock import CHANGED, NEW, REFUSED, SAME, StockOutcome, stock_import, stock_rehearse
from studio.records.stock_file import COLUMNS, MOST_BYTES, MOST_LINES
from studio.web.access import STAFF, caller, open_to
from studio.web.upload import read_off, too_large_body

COUNTED = {NEW: "new", CHANGED: "changed", SAME: "unchanged", REFUSED: "refused"}
WORDS = {NEW: "is new", CHANGED: "changes", SAME: "stays as it is", REFUSED: "is refused"}


def page_of(
    request: HttpRequest,
    *,
    fault: str = "",
    faults: Sequence[Fault] = (),
    outcome: StockOutcome | None = None,
    file: tuple[str, bytes] = ("", b""),
) -> HttpResponse:
    """The form, with what was wrong or what the file would do."""
    shown: dict[str, Any] = {"fault": fault, "faults": faults, "columns": COLUMNS, "most": MOST_LINES}
    if outcome is not None:
        shown |= {
            "outcome": outcome,
            "counts": [(words, outcome.count(does)) for does, words in COUNTED.items() if outcome.count(does)],
            "lines": [(line, WORDS[line.does]) for line in outcome.lines if line.does != SAME],
            "works": not outcome.faults and outcome.count(SAME) < len(outcome.lines),
            "filename": file[0],
            "content": base64.b64encode(file[1]).decode(),
        }
    return render(request, "web/stock.html", shown, status=422 if fault or faults else 200)


def sent_file(request: HttpRequest) -> tuple[str, bytes] | str:
    """Name and bytes of what was chosen, or of what was looked at before; a sentence where there is none."""
    file = request.FILES.get("file")
    if file is not None:
        if (file.size or 0) > MOST_BYTES:
            return f"{file.name} has {file.size} bytes; allowed are {MOST_BYTES}. Split it into smaller files."
        return PurePath(file.name or "stock.csv").name, file.read()
    try:
        content = base64.b64decode(request.POST.get("content", ""), validate=True)
    except (binascii.Error, ValueError):
        content = b""
    name = PurePath(request.POST.get("filename", "")).name[:200] or "stock.csv"
    return (name, content) if content else "No file was chosen. Choose a CSV file, then look at what it would do."


@open_to(*STAFF)
def refuse_size(request: HttpRequest) -> HttpResponse:
    read_off(request)
    return page_of(
        request, fault=f"The file is too large; allowed are {MOST_BYTES} bytes. Split it into smaller files."
    )


@csrf_exempt  # the check itself would spool the whole body first; `form` has it
def stock(request: HttpRequest) -> HttpResponseBase:
    """The form by GET; by POST a file is looked at, and one that was looked at is imported."""
    if request.method == "POST" and too_large_body(request):
        return refuse_size(request)
    return form(request)


@csrf_protect
@open_to(*STAFF)
def form(request: HttpRequest) -> HttpResponse:
    if request.method != "POST":
        return page_of(request)
    file = sent_file(request)
    if isinstance(file, str):
        return page_of(request, fault=file)
    by = caller(request)
    facts: dict[str, Any] = {"studio": by.studio, "by": by.user, "filename": file[0], "content": file[1]}
    seen = request.POST.get("seen", "")
    try:
        if not seen:
            return page_of(request, outcome=stock_rehearse(**facts), file=file)
        done = stock_import(**facts, seen=seen)
    except Refused as refusal:
        return page_of(request, fault="The file cannot be read, so nothing was changed.", faults=refusal.faults)
    except Conflict as refusal:
        return page_of(request, fault=refusal.message, outcome=stock_rehearse(**facts), file=file)
    except RecordsError as refusal:
        return page_of(request, fault=refusal.message, faults=refusal.faults)
    messages.success(request, f"Imported {file[0]}: {done.count(NEW)} new, {done.count(CHANGED)} changed.")
    return redirect("web:equipment")

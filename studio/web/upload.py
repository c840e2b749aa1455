"""Bringing in a session bundle: the file is kept, then a job reads it."""

from __future__ import annotations

import zipfile
from dataclasses import dataclass
from pathlib import PurePath

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.views.decorators.csrf import csrf_exempt, csrf_protect

from analysis.jobs.enqueue import enqueue
from analysis.results.models import Job
from studio.records.store import is_full, keep_file
from studio.web.access import STAFF, caller, open_to

FORM_ALLOWANCE = 64 * 1024
"""What the form itself (token, boundaries, names) may add to the file's bytes."""
MOST_DRAINED = 8
"""How many caps of a too large body are read off before the connection is simply closed."""
CHUNK = 1024 * 1024


@dataclass(frozen=True, slots=True)
class NotTaken:
    """Why a file is not taken, and under which status that is said."""

    status: int
    sentence: str


DISK_FULL = NotTaken(503, "The studio's disk is full: nothing was kept. Tell the owner, then upload again.")


def too_large() -> NotTaken:
    cap = settings.UPLOAD_MAX_BYTES // CHUNK
    return NotTaken(413, f"The file is larger than {cap} MiB. Zip fewer recordings, or ask the owner to raise the cap.")


def fault_of(file: UploadedFile[bytes] | None) -> NotTaken | None:
    """What speaks against the file at first sight; what is wrong inside, the job finds."""
    if file is None:
        return NotTaken(400, "No file was chosen. Choose the zip of a session, then upload it.")
    if not file.size:
        return NotTaken(400, f"{file.name} is empty. Choose the zip of a session.")
    if file.size > settings.UPLOAD_MAX_BYTES:
        return too_large()
    if not zipfile.is_zipfile(file):
        return NotTaken(415, f"{file.name} is not a zip. Zip the session's folder and upload that.")
    return None


def upload_page(request: HttpRequest, fault: NotTaken | None = None) -> HttpResponse:
    """The form, with what was wrong."""
    facts = {"fault": fault.sentence if fault else "", "cap_mib": settings.UPLOAD_MAX_BYTES // CHUNK}
    return render(request, "web/upload.html", facts, status=fault.status if fault else 200)


def take(request: HttpRequest, file: UploadedFile[bytes]) -> Job:
    """Keep the bytes on the disk, then ask for them to be read."""
    file.seek(0)
    by = caller(request)
    kept = keep_file(studio_id=by.studio_id, chunks=file.chunks(), max_bytes=settings.UPLOAD_MAX_BYTES)
    payload = {"sha256": kept.sha256, "filename": PurePath(file.name or "bundle.zip").name}
    return enqueue(kind="import_bundle", studio=by.studio, by=by.user, payload=payload)


@csrf_protect
@open_to(*STAFF)
def form(request: HttpRequest) -> HttpResponse:
    if request.method != "POST":
        return upload_page(request)
    file = request.FILES.get("bundle")
    fault = fault_of(file)
    if fault or file is None:
        return upload_page(request, fault)
    try:
        job = take(request, file)
    except OSError as error:
        if not is_full(error):
            raise
        return upload_page(request, DISK_FULL)
    return redirect("web:job", job.pk)


@open_to(*STAFF)
def refuse_size(request: HttpRequest) -> HttpResponse:
    read_off(request)
    return upload_page(request, too_large())


def read_off(request: HttpRequest) -> None:
    """Read a body off, so that the browser listens to the answer, and write none of it anywhere."""
    left = MOST_DRAINED * settings.UPLOAD_MAX_BYTES
    while left > 0 and (chunk := request.read(CHUNK)):
        left -= len(chunk)


def too_large_body(request: HttpRequest) -> bool:
    """Whether a body cannot be a form with allowed files, by its length alone."""
    return int(request.META.get("CONTENT_LENGTH") or 0) > settings.UPLOAD_MAX_BYTES + FORM_ALLOWANCE


@csrf_exempt  # the check itself would spool the whole body first; `form` has it
def upload(request: HttpRequest) -> HttpResponseBase:
    """The form by GET; by POST the file, whose size is judged before a byte of it is spooled."""
    if request.method == "POST" and too_large_body(request):
        return refuse_size(request)
    return form(request)

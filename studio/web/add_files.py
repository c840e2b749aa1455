"""Adding recordings to a session: several files in one form; each that can be kept is kept, the others are named."""

from __future__ import annotations

from pathlib import PurePath
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.csrf import csrf_exempt, csrf_protect

from analysis.jobs.enqueue import enqueue
from studio.records.errors import RecordsError
from studio.records.models import FieldSession, Recording
from studio.records.services.recordings import recordings_store
from studio.records.store import is_full
from studio.web.access import STAFF, caller, open_to
from studio.web.upload import CHUNK, DISK_FULL, read_off, too_large_body

MOST_FILES = 100
NONE_CHOSEN = "No file was chosen. Choose one or more recordings, then add them."


def page_of(request: HttpRequest, session: FieldSession, faults: list[str], status: int) -> HttpResponse:
    """The form, with what was not taken."""
    facts = {"session": session, "faults": faults, "cap_mib": settings.UPLOAD_MAX_BYTES // CHUNK}
    return render(request, "web/add-files.html", facts, status=status)


def take(request: HttpRequest, session: FieldSession, files: list[UploadedFile[bytes]]) -> tuple[list[str], list[str]]:
    """Keep each file and ask for it to be read; gives the names of those kept and why the others were not."""
    by, kept, faults = caller(request), [], []
    for file in files:
        name = PurePath(file.name or "recording").name

        def read(recording: Recording, name: str = name) -> None:
            payload = {"recording": str(recording.pk), "filename": name}
            enqueue(kind="read_recording", studio=by.studio, by=by.user, payload=payload, session=session)

        try:
            recordings_store(session=session, files=[(name, file.chunks())], by=by.user, entered=read)
        except RecordsError as refusal:
            faults.append(f"{name}: {refusal.message}")
            continue
        except OSError as error:
            if not is_full(error):
                raise
            faults.append(DISK_FULL.sentence)
            break
        kept.append(name)
    return kept, faults


@csrf_protect
@open_to(*STAFF)
def form(request: HttpRequest, session_id: UUID) -> HttpResponse:
    session = get_object_or_404(FieldSession.objects.visible_to(request.user), pk=session_id)
    if request.method != "POST":
        return page_of(request, session, [], 200)
    files = request.FILES.getlist("file")[: MOST_FILES + 1]
    if not files or len(files) > MOST_FILES:
        fault = NONE_CHOSEN if not files else f"More than {MOST_FILES} files. Add them in several goes."
        return page_of(request, session, [fault], 400)
    kept, faults = take(request, session, files)
    if kept:
        told = kept[0] if len(kept) == 1 else f"{len(kept)} files"
        messages.success(request, f"Added: {told}. What was found in them stands here when they are read.")
    return page_of(request, session, faults, 422) if faults else redirect("web:session", session.pk)


@open_to(*STAFF)
def refuse_size(request: HttpRequest, session_id: UUID) -> HttpResponse:
    session = get_object_or_404(FieldSession.objects.visible_to(request.user), pk=session_id)
    read_off(request)
    cap = settings.UPLOAD_MAX_BYTES // CHUNK
    return page_of(request, session, [f"The files are larger than {cap} MiB together. Add them in several goes."], 413)


@csrf_exempt  # the check itself would spool the whole body first; `form` has it
def add_files(request: HttpRequest, session_id: UUID) -> HttpResponseBase:
    """The form by GET; by POST the files, whose size together is judged before a byte of it is spooled."""
    if request.method == "POST" and too_large_body(request):
        return refuse_size(request, session_id)
    return form(request, session_id)

"""Idempotency-Key: a POST that is sent again under its key writes nothing and gets the answer of the first.

Scoped to the account and the address, for seven days. A refusal is an answer too; only what may fare better later
(a fault of ours, a busy database) is not kept. The rows are `studio.records.services.kept_answers`.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.http import HttpResponse
from django.utils.datastructures import MultiValueDict
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from analysis.readers.faults import Fault, shown
from studio.api.problems import Malformed
from studio.records.errors import Conflict, Unusable
from studio.records.models import KeptAnswer, User
from studio.records.services.kept_answers import answer_claim, answer_keep, answer_release

HEADER = "Idempotency-Key"
ALLOWED = "1 to 255 printable ASCII characters, bare or as a quoted string"
QUOTED = re.compile(r'"((?:[ !#-\[\]-~]|\\["\\])*)"', re.ASCII)
BARE = re.compile(r"[!#-~][!-~]*", re.ASCII)
MOST_CHARACTERS = 255
RETRY_LATER = {429, *range(500, 600)}
STILL_RUNNING = "A request under this Idempotency-Key is still running; wait a moment and send it again."
OTHER_REQUEST = "This Idempotency-Key was used for another request here; take a new key for a new request."
TAKEN_OVER = "The request took so long that another one under its Idempotency-Key took over; send it again."


def answer_once(
    *,
    request: Request,
    user: User,
    handler: Callable[[], Response],
    refuse: Callable[[Exception], Response],
) -> HttpResponse | Response:
    """The first answer under the request's key: from the handler, or as it was kept.

    Raises
    ------
    Malformed
        When the key cannot be one.
    Conflict
        While the first request runs.
    Unusable
        When the key was used for another request.
    """
    key, request_sha256 = _key_of(request), _fingerprint(request)
    claim, is_first = answer_claim(user=user, path=request.path, key=key, request_sha256=request_sha256)
    if is_first:
        return _kept(claim, handler, refuse)
    if claim.request_sha256 != request_sha256:
        fault = Fault(file="", key=HEADER, given=shown(key), allowed="a key that was not used here yet")
        raise Unusable(OTHER_REQUEST, faults=(fault,))
    if claim.status is None:
        raise Conflict(STILL_RUNNING)
    return HttpResponse(claim.body, status=claim.status, headers=claim.headers)


def _kept(
    claim: KeptAnswer, handler: Callable[[], Response], refuse: Callable[[Exception], Response]
) -> HttpResponse | Response:
    """Work and answer in one transaction; a refusal undoes the work and is kept by itself."""
    try:
        with transaction.atomic():
            answer = handler()
            if not _fill(claim, answer):
                raise Conflict(TAKEN_OVER)
            return answer
    except Exception as error:
        answer = refuse(error)
    if answer.status_code in RETRY_LATER:
        answer_release(claim=claim)
    else:
        _fill(claim, answer)
    return answer


def _fill(claim: KeptAnswer, answer: Response) -> bool:
    body = JSONRenderer().render(answer.data).decode()
    headers = {**answer.headers, "Content-Type": answer.content_type or JSONRenderer.media_type}
    return answer_keep(claim=claim, status=answer.status_code, headers=headers, body=body)


def _key_of(request: Request) -> str:
    """The key, which the header's draft standard quotes and most callers do not."""
    header = request.headers[HEADER].strip()
    quoted = QUOTED.fullmatch(header)
    key = re.sub(r"\\(.)", r"\1", quoted[1]) if quoted else header if BARE.fullmatch(header) else ""
    if not 1 <= len(key) <= MOST_CHARACTERS:
        fault = Fault(file="", key=HEADER, given=shown(header), allowed=ALLOWED)
        raise Malformed("The Idempotency-Key cannot be used.", (fault,))
    return key


def _fingerprint(request: Request) -> str:
    """What makes two requests the same: the query and what the body says, in whatever order and with any boundary."""
    data = request.data
    if isinstance(data, MultiValueDict):
        data = {name: [_part(value) for value in data.getlist(name)] for name in data}
    text = json.dumps([request.query_params.urlencode(), data], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def _part(value: Any) -> Any:
    if not isinstance(value, UploadedFile):
        return value
    sha256 = hashlib.sha256()
    for chunk in value.chunks():
        sha256.update(chunk)
    value.seek(0)
    return {"name": value.name, "sha256": sha256.hexdigest()}

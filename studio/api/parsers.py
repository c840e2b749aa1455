"""How bodies are read: JSON everywhere, and only JSON that the records and the database can hold."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from typing import IO, Any, NoReturn

from django.conf import settings
from django.http import HttpRequest
from rest_framework.parsers import JSONParser

from analysis.readers.faults import Fault, shown
from studio.api.problems import Malformed
from studio.records.errors import TooLarge

NUL = re.compile(r"(?<!\\)(?:\\\\)*\\u0000")
FORM_ALLOWANCE = 64 * 1024
"""What a multipart form itself (names, boundaries) may add to the file's bytes."""
MOST_DRAINED = 8
"""How many caps of a too large body are read off, so that the caller hears the answer, before the connection closes."""
CHUNK = 1024 * 1024


class StrictJSONParser(JSONParser):
    """Refuses NaN, infinities (also 1e999), NUL, half characters, deep nesting and bodies over the cap."""

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        cap = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        raw = stream.read(cap + 1)
        if len(raw) > cap:
            raise TooLarge(f"The body has more than {cap} bytes; allowed are {cap}. Files go as multipart.")
        try:
            document = json.loads(
                raw.decode("utf-8"), parse_constant=_no_constant, parse_float=_finite, object_pairs_hook=_once
            )
            plain = json.dumps(document, ensure_ascii=False)
            plain.encode("utf-8")
        except (ValueError, RecursionError) as error:
            raise Malformed(f"The body is not JSON that is read here: {error or 'nested too deeply'}.") from None
        if NUL.search(plain):
            raise Malformed("The body holds the character NUL; allowed is any text without it.")
        return document


def refuse_body_without_length(request: HttpRequest) -> None:
    """Refuse a body whose end nobody has announced: what reads bodies here would take it for an empty one.

    Raises
    ------
    Malformed
        When the body comes in pieces.
    """
    if "CONTENT_LENGTH" not in request.META and (coding := request.META.get("HTTP_TRANSFER_ENCODING")):
        fault = Fault(file="", key="Transfer-Encoding", given=shown(coding), allowed="nothing; send Content-Length")
        raise Malformed("The body comes in pieces without a length; allowed is one with Content-Length.", (fault,))


def refuse_large_upload(request: HttpRequest) -> None:
    """Judge an upload by its length before a byte of it is spooled, and read it off to nowhere when it is too large.

    Raises
    ------
    TooLarge
        When the body cannot be a form with an allowed file.
    """
    cap = settings.UPLOAD_MAX_BYTES
    length = request.META.get("CONTENT_LENGTH") or "0"
    if not length.isdigit() or int(length) <= cap + FORM_ALLOWANCE:
        return
    left = MOST_DRAINED * cap
    while left > 0 and (chunk := request.read(CHUNK)):
        left -= len(chunk)
    raise TooLarge(f"The upload has {length} bytes; allowed are {cap}.")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object whose keys stand once: of two values nobody could say which was meant (RFC 8259, section 4)."""
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(f"the key {shown(key)} stands twice in one object")
        found[key] = value
    return found


def _no_constant(word: str) -> NoReturn:
    raise ValueError(f"{word} is no number in JSON")


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"{text[:40]} is too large for a number")
    return value

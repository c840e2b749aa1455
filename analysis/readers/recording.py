"""One recording from its bytes: what it is is told by its content, never by its name.

The reader of another format than CSV is loaded on first use, so that the command starts fast.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from analysis.readers.csv_layout import header_of
from analysis.readers.csv_reader import read_csv
from analysis.readers.faults import Fault, Refused
from analysis.readers.first_bytes import FIT_MAGIC, XML_STARTS
from analysis.readers.inflate import inflated
from analysis.readers.limits import MIB, USUAL_LIMITS, Limits
from analysis.readers.mapping_document import Own
from analysis.readers.samples import Event, Lap, Recording

__all__ = ["Event", "Lap", "Limits", "Recording", "fields_of", "read_recording"]

OTHER_KINDS = {
    b"PK\x03\x04": "a zip archive",
    b"%PDF": "a PDF",
    b"{": "a JSON document",
}
ALLOWED = "a CSV text in UTF-8 or UTF-16, or a FIT, TCX or GPX file, each as it is or packed by gzip"
BYTE_ORDER_MARK = b"\xef\xbb\xbf"
UTF_16_MARKS = (b"\xff\xfe", b"\xfe\xff")


def read_recording(
    name: str,
    data: bytes | Path,
    *,
    mapping: Own = None,
    zone: str | None = None,
    limits: Limits = USUAL_LIMITS,
) -> Recording:
    """Read a recording of any known format.

    `zone` is the session's IANA time zone, used (and noted) where the file's times have none. `mapping` is the studio's
    own reading of foreign fields (`mapping_document.py`). Raises `Refused` with every fault found.
    """
    content = _content(name, data, limits)
    text = content[:4096].removeprefix(BYTE_ORDER_MARK).lstrip()
    for magic, kind in OTHER_KINDS.items():
        if text.startswith(magic):
            raise Refused([Fault(name, "file", kind, ALLOWED)])
    if content[8:12] == FIT_MAGIC:
        from analysis.readers.fit_reader import read_fit

        return read_fit(name, content, mapping=mapping, limits=limits)
    if text.startswith(XML_STARTS):
        from analysis.readers.xml_reader import read_xml

        # Blank lines before the declaration are against the standard and yet met.
        return read_xml(name, content.removeprefix(BYTE_ORDER_MARK).lstrip(), mapping=mapping, zone=zone, limits=limits)
    return read_csv(name, content, mapping=mapping, zone=zone, limits=limits)


def fields_of(name: str, data: bytes | Path, *, limits: Limits = USUAL_LIMITS) -> dict[str, Any]:
    """What a refused text still says of its device: its columns, so that a studio can say how to read them.

    Nothing where the file is no text with a header; other formats name their fields only as they are read.
    """
    try:
        content = _content(name, data, limits)
        binary = content[8:12] == FIT_MAGIC or content.startswith(tuple(OTHER_KINDS)) or content.startswith(XML_STARTS)
        return {} if binary else {"columns": header_of(name, content)}
    except Refused:
        return {}


def _content(name: str, data: bytes | Path, limits: Limits) -> bytes:
    """The file's bytes, unpacked; text of two bytes a sign, as spreadsheets also write it, becomes UTF-8."""
    size = data.stat().st_size if isinstance(data, Path) else len(data)
    if size > limits.max_bytes:
        given = f"{size / MIB:.1f} MiB"
        raise Refused([Fault(name, "file", given, f"at most {limits.max_bytes / MIB:g} MiB a recording")])
    content = inflated(name, data.read_bytes() if isinstance(data, Path) else data, limits)
    if content.startswith(UTF_16_MARKS) and not content.startswith(XML_STARTS):
        try:
            content = content.decode("utf-16").encode()
        except UnicodeError:
            raise Refused([Fault(name, "file", "a UTF-16 text that is broken or cut off", ALLOWED)]) from None
    if not content.strip():
        raise Refused([Fault(name, "file", "an empty file", ALLOWED)])
    return content

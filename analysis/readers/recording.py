"""One recording from its bytes: what it is is told by its content, never by its name."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from analysis.readers.csv_reader import read_csv
from analysis.readers.faults import Fault, Refused
from analysis.readers.fit_reader import FIT_MAGIC, read_fit
from analysis.readers.inflate import inflated
from analysis.readers.limits import MIB, USUAL_LIMITS, Limits
from analysis.readers.samples import Event, Lap, Recording
from analysis.readers.xml_reader import XML_STARTS, read_xml

__all__ = ["Event", "Lap", "Limits", "Recording", "read_recording"]

OTHER_KINDS = {
    b"PK\x03\x04": "a zip archive",
    b"%PDF": "a PDF",
    b"{": "a JSON document",
}
ALLOWED = "a CSV text in UTF-8, or a FIT, TCX or GPX file, each as it is or packed by gzip"
BYTE_ORDER_MARK = b"\xef\xbb\xbf"


def read_recording(
    name: str,
    data: bytes | Path,
    *,
    mapping: Mapping[str, str] | None = None,
    zone: str | None = None,
    limits: Limits = USUAL_LIMITS,
) -> Recording:
    """Read a recording of any known format.

    `zone` is the session's IANA time zone, used (and noted) where the file's times have none. `mapping` is the studio's
    own reading of foreign fields (`mapping.py`). Raises `Refused` with every fault found.
    """
    size = data.stat().st_size if isinstance(data, Path) else len(data)
    if size > limits.max_bytes:
        given = f"{size / MIB:.1f} MiB"
        raise Refused([Fault(name, "file", given, f"at most {limits.max_bytes / MIB:g} MiB a recording")])
    content = inflated(name, data.read_bytes() if isinstance(data, Path) else data, limits)
    if not content.strip():
        raise Refused([Fault(name, "file", "an empty file", ALLOWED)])
    text = content[:4096].removeprefix(BYTE_ORDER_MARK).lstrip()
    for magic, kind in OTHER_KINDS.items():
        if text.startswith(magic):
            raise Refused([Fault(name, "file", kind, ALLOWED)])
    if content[8:12] == FIT_MAGIC:
        return read_fit(name, content, mapping=mapping, limits=limits)
    if text.startswith(XML_STARTS):
        # Blank lines before the declaration are against the standard and yet met.
        return read_xml(name, content.removeprefix(BYTE_ORDER_MARK).lstrip(), mapping=mapping, zone=zone, limits=limits)
    return read_csv(name, content, mapping=mapping, zone=zone, limits=limits)

"""A session bundle in and out: a folder or zip with `session.json` and the recordings its runs name.

What may be in a zip is `archive.py`, what may be in the document `document.py`, what it means to the estimator
`session.py`; here they come together, and everything that is wrong is listed at once.
"""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from analysis.core.types import Warning
from analysis.readers.archive import DOCUMENT, Files, canonical, open_files
from analysis.readers.document import checked_document, normalised, recording_names, unknown_keys
from analysis.readers.faults import Fault, Refused, shown
from analysis.readers.limits import MIB, USUAL_LIMITS, Limits
from analysis.readers.mapping_document import Own
from analysis.readers.recording import read_recording
from analysis.readers.samples import Recording, note
from analysis.readers.session import core_session
from analysis.readers.times import known_zone

__all__ = ["Bundle", "core_session", "normalised", "read_bundle", "read_whole_bundle", "write_bundle"]

SYSTEM_FILES = (".DS_Store", "__MACOSX/", "Thumbs.db", "desktop.ini")
ZIP_EPOCH = (1980, 1, 1, 0, 0, 0)  # a zip cannot say "no date"; a fixed one keeps its bytes the same


@dataclass(frozen=True, slots=True)
class Bundle:
    """A bundle whose document is checked and whose recordings are there; they are not read yet."""

    document: dict[str, Any]
    files: Mapping[str, bytes | Path]
    sha256: Mapping[str, str]
    notes: tuple[Warning, ...]


def read_bundle(path: Path, *, limits: Limits = USUAL_LIMITS, label: str | None = None) -> Bundle:
    """Open a folder or zip and check document and files; the recordings are not read.

    `label` is the name under which the user knows the bundle. Raises `Refused` with every fault found.
    """
    bundle, faults = _opened(path, limits, label)
    if faults:
        raise Refused(faults)
    return bundle


def read_whole_bundle(
    path: Path, *, limits: Limits = USUAL_LIMITS, label: str | None = None, mapping: Own = None
) -> tuple[Bundle, dict[str, Recording]]:
    """Open a bundle and read every recording in the session's time zone, by the studio's own `mapping` where given.

    Raises `Refused` with the faults of the document and of all files together.
    """
    bundle, faults = _opened(path, limits, label)
    zone = (bundle.document.get("session") or {}).get("timezone")
    if zone is not None and known_zone(zone) is None:
        zone = None  # told already, once
    recordings: dict[str, Recording] = {}
    for name, content in bundle.files.items():
        try:
            recordings[name] = read_recording(name, content, mapping=mapping, zone=zone, limits=limits)
        except Refused as refusal:
            faults += refusal.faults
    if faults:
        raise Refused(faults)
    return bundle, recordings


def _opened(path: Path, limits: Limits, label: str | None) -> tuple[Bundle, list[Fault]]:
    """The bundle as far as it is sound, and what is not."""
    files = open_files(path, limits, label or path.name)
    document, faults = checked_document(DOCUMENT, _document_bytes(files, limits))
    known = {canonical(name) for name in files.names()}
    contents: dict[str, bytes | Path] = {}
    sums: dict[str, str] = {}
    named: dict[str, int] = {}
    for at, name in recording_names(document):
        named.setdefault(name, at)
    for name, at in named.items():
        if canonical(name) not in known:
            others = ", ".join(shown(other) for other in sorted(known - {DOCUMENT})[:10]) or "no recording"
            faults.append(
                Fault(DOCUMENT, f"runs[{at}].recording", shown(name), f"a file of the bundle, which has {others}")
            )
            continue
        try:
            contents[name] = files.get(name)
            sums[name] = _sha256(name, contents[name], limits)
        except Refused as refusal:
            contents.pop(name, None)
            faults += refusal.faults
    spare = sorted(known - {canonical(name) for name in named} - {DOCUMENT})
    return Bundle(document, contents, sums, (*unknown_keys(document), *_spare_note(spare))), faults


def write_bundle(document: Mapping[str, Any], files: Mapping[str, bytes | Path], target: Path | IO[bytes]) -> None:
    """Write a zip; the same document and files give the same bytes."""
    text = json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n"
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive:
        for name, content in [(DOCUMENT, text.encode()), *sorted(files.items())]:
            info = zipfile.ZipInfo(name, ZIP_EPOCH)
            info.compress_type, info.create_system, info.external_attr = zipfile.ZIP_DEFLATED, 3, 0o100644 << 16
            archive.writestr(info, content.read_bytes() if isinstance(content, Path) else content)


def _document_bytes(files: Files, limits: Limits) -> bytes:
    content = files.get(DOCUMENT)
    size = content.stat().st_size if isinstance(content, Path) else len(content)
    if size > limits.max_document_bytes:
        allowed = f"at most {limits.max_document_bytes / MIB:g} MiB"
        raise Refused([Fault(DOCUMENT, "file", f"{size / MIB:.1f} MiB", allowed)])
    return content.read_bytes() if isinstance(content, Path) else content


def _sha256(name: str, content: bytes | Path, limits: Limits) -> str:
    size = content.stat().st_size if isinstance(content, Path) else len(content)
    if size > limits.max_bytes:
        raise Refused([Fault(name, "file", f"{size / MIB:.1f} MiB", f"at most {limits.max_bytes / MIB:g} MiB")])
    if isinstance(content, bytes):
        return hashlib.sha256(content).hexdigest()
    with content.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _spare_note(names: list[str]) -> tuple[Warning, ...]:
    spare = [name for name in names if not any(mark in name for mark in SYSTEM_FILES)]
    if not spare:
        return ()
    what = f"The bundle holds files that no run names: {shown(', '.join(spare))}."
    return (note("unknown_key", what, "They are not kept; name them in a run if they belong to the session."),)

"""The files of a bundle, from a folder or a zip, without trusting either.

Nothing is ever unpacked to disk: members are read into memory under caps. What the files mean is `bundle.py`.
"""

from __future__ import annotations

import stat
import unicodedata
import zipfile
import zlib
from collections import Counter
from pathlib import Path, PurePosixPath
from typing import Protocol

from analysis.readers.faults import Fault, Refused, shown
from analysis.readers.limits import MIB, Limits

DOCUMENT = "session.json"
NAME_ALLOWED = "a plain relative path such as run-01.csv, without '..', drive, backslash or control characters"
ZIP_MAGIC = (b"PK\x03\x04", b"PK\x05\x06")  # a member first, or the end of an empty archive
BROKEN = (zipfile.BadZipFile, zlib.error, NotImplementedError, EOFError, OSError, RuntimeError, ValueError)


class Files(Protocol):
    """The files beside `session.json`, by name."""

    def names(self) -> list[str]:
        """Name every file."""

    def get(self, name: str) -> bytes | Path:
        """Give one file; `Refused` where it cannot be read."""


def canonical(name: str) -> str:
    """Write a name as it is compared: some systems store letters and their accents apart."""
    return unicodedata.normalize("NFC", name)


def safe_name(name: str) -> bool:
    """Whether a name stays inside its folder on every system."""
    parts = PurePosixPath(name).parts
    return (
        0 < len(name) <= 255
        and name.isprintable()
        and not name.startswith("/")
        and "\\" not in name
        and ".." not in parts
        and (len(name) < 2 or name[1] != ":")
    )


def open_files(path: Path, limits: Limits, label: str) -> Files:
    """Open a folder or a zip; its whole table of contents is checked before any file is read.

    `label` is the name under which the user knows it: faults of the whole name it.
    """
    if path.is_dir():
        return _Folder(path, limits, label)
    if not path.is_file():
        raise Refused([Fault(label, "bundle", "no such file or folder", "a folder or a zip with session.json")])
    if not zipfile.is_zipfile(path):
        raise Refused([Fault(label, "bundle", "a file that is no zip", "a folder or a zip with session.json")])
    return _Zip(path, limits, label)


def _base(label: str, names: list[str]) -> str:
    """Find the folder that holds the document: the root or one top folder."""
    if DOCUMENT in names:
        return ""
    tops = [name for name in names if name.count("/") == 1 and name.endswith("/" + DOCUMENT)]
    if len(tops) != 1:
        given = "none" if not tops else ", ".join(shown(name) for name in tops)
        raise Refused([Fault(label, DOCUMENT, given, "one session.json at the root or in one top folder")])
    return tops[0].removesuffix(DOCUMENT)


class _Folder:
    """A folder on disk. Links are not followed: they could name any file of the machine."""

    def __init__(self, path: Path, limits: Limits, label: str) -> None:
        found = {}
        for depth in ("*", "*/*", "*/*/*"):
            for entry in path.glob(depth):
                if not entry.is_dir() or entry.is_symlink():
                    found[entry.relative_to(path).as_posix()] = entry
                if len(found) > limits.max_members:
                    raise Refused([_too_many(label, limits)])
        base = _base(label, list(found))
        self.paths = {
            canonical(name.removeprefix(base)): entry for name, entry in found.items() if name.startswith(base)
        }
        self.top = path

    def names(self) -> list[str]:
        return list(self.paths)

    def get(self, name: str) -> bytes | Path:
        path = self.paths[canonical(name)]
        inside = path
        while inside != self.top:
            if inside.is_symlink():
                raise Refused([Fault(name, "file", "a link", "a file of its own")])
            inside = inside.parent
        if not stat.S_ISREG(path.stat().st_mode):
            raise Refused([Fault(name, "file", "no regular file", "a file")])
        return path


class _Zip:
    """A zip file, read member by member under caps."""

    def __init__(self, path: Path, limits: Limits, label: str) -> None:
        self.limits = limits
        self.read_bytes = 0
        try:
            self.zip = zipfile.ZipFile(path)
        except BROKEN as error:
            given = f"a broken zip ({error})"
            raise Refused([Fault(label, "bundle", given, "a folder or a sound zip with session.json")]) from None
        entries = [(_member_name(info), info) for info in self.zip.infolist()]
        members = [(name, info) for name, info in entries if not name.endswith("/")]  # is_dir() breaks on no name
        unsafe = [name for name, _ in entries if name.endswith("/") and not safe_name(name)]
        faults = [Fault(label, "member name", shown(name), NAME_ALLOWED) for name in unsafe]
        faults += self._table_faults(label, members)
        if faults:
            raise Refused(faults)
        base = _base(label, [name for name, _ in members])
        self.members = {canonical(name.removeprefix(base)): info for name, info in members if name.startswith(base)}

    def _table_faults(self, label: str, members: list[tuple[str, zipfile.ZipInfo]]) -> list[Fault]:
        if len(members) > self.limits.max_members:
            return [_too_many(label, self.limits)]
        faults = []
        counts = Counter(canonical(name) for name, _ in members)
        faults += [
            Fault(label, name, f"{count} members of one name", "one") for name, count in counts.items() if count > 1
        ]
        for name, info in members:
            if not safe_name(name):
                faults.append(Fault(label, "member name", shown(name), NAME_ALLOWED))
            elif stat.S_ISLNK(info.external_attr >> 16):
                faults.append(Fault(label, name, "a link", "a file of its own"))
            elif info.flag_bits & 0x1:
                faults.append(Fault(label, name, "an encrypted member", "members without a password"))
            elif info.file_size > MIB and info.file_size > self.limits.max_ratio * max(info.compress_size, 1):
                ratio = info.file_size // max(info.compress_size, 1)
                allowed = f"at most {self.limits.max_ratio} times"
                faults.append(Fault(label, name, f"a member that unpacks to {ratio} times its size", allowed))
            elif name.casefold().endswith(".zip"):
                faults.append(Fault(label, name, "a zip inside the zip", "recordings and session.json side by side"))
        total = sum(info.file_size for _, info in members)
        if total > self.limits.max_total_bytes:
            allowed = f"at most {self.limits.max_total_bytes / MIB:g} MiB"
            faults.append(Fault(label, "size", f"{total / MIB:.1f} MiB unpacked", allowed))
        return faults

    def names(self) -> list[str]:
        return list(self.members)

    def get(self, name: str) -> bytes | Path:
        info = self.members[canonical(name)]
        cap = min(self.limits.max_bytes, self.limits.max_total_bytes - self.read_bytes)
        try:
            with self.zip.open(info) as member:
                data = member.read(cap + 1)
        except BROKEN as error:
            raise Refused([Fault(name, "file", f"a broken member ({error})", "a member that unpacks")]) from None
        if len(data) > cap:
            raise Refused([Fault(name, "file", f"more than {cap / MIB:.1f} MiB", "a smaller file")])
        if data.startswith(ZIP_MAGIC):
            raise Refused([Fault(name, "file", "a zip inside the zip", "recordings and session.json side by side")])
        self.read_bytes += len(data)
        return data


def _member_name(info: zipfile.ZipInfo) -> str:
    """Undo the module's reading of unmarked names as code page 437 where they are UTF-8 in truth."""
    if info.flag_bits & 0x800:
        return info.filename
    try:
        return info.filename.encode("cp437").decode()
    except UnicodeError:
        return info.filename


def _too_many(label: str, limits: Limits) -> Fault:
    return Fault(label, "files", f"more than {limits.max_members}", f"at most {limits.max_members}")

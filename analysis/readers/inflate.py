"""A recording packed by gzip, inflated under caps: one layer, in memory, never to disk. Zips are `archive.py`."""

from __future__ import annotations

import zlib

from analysis.readers.faults import Fault, Refused
from analysis.readers.limits import MIB, Limits

GZIP_MAGIC = b"\x1f\x8b"
GZIP_BITS = 31  # zlib: the usual window, and a gzip header and checksum around it
ZIP_MAGIC = b"PK\x03\x04"
MOST_MEMBERS = 100  # gzip files may follow each other in one


def inflated(name: str, data: bytes, limits: Limits) -> bytes:
    """Give the content of a gzip, or `data` itself where it is none. Raises `Refused`."""
    if not data.startswith(GZIP_MAGIC):
        return data
    cap = min(limits.max_bytes, max(limits.max_ratio * len(data), MIB))
    parts: list[bytes] = []
    left, rest = cap, data
    while rest.strip(b"\0"):  # tapes and some tools fill up with zeros
        part, rest = _member(name, rest, left + 1)
        parts.append(part)
        left -= len(part)
        if left < 0:
            raise Refused([_too_large(name, len(data), cap, limits)])
        if len(parts) > MOST_MEMBERS:
            raise Refused([Fault(name, "file", f"more than {MOST_MEMBERS} gzips in one", "one recording")])
    content = b"".join(parts)
    for magic, kind in ((GZIP_MAGIC, "a gzip inside the gzip"), (ZIP_MAGIC, "a zip inside the gzip")):
        if content.startswith(magic):
            raise Refused([Fault(name, "file", kind, "a recording packed once")])
    return content


def _member(name: str, data: bytes, most: int) -> tuple[bytes, bytes]:
    """Inflate one member to at most `most` bytes; gives them and what follows it."""
    unpacker = zlib.decompressobj(GZIP_BITS)
    try:
        content = unpacker.decompress(data, most)
    except zlib.error as error:
        raise Refused([_broken(name, str(error))]) from None
    if len(content) < most and not unpacker.eof:
        raise Refused([_broken(name, "it is cut off")])
    return content, unpacker.unused_data


def _broken(name: str, why: str) -> Fault:
    return Fault(name, "file", f"a broken gzip ({why})", "a gzip that unpacks: copy the file again, or unpack it first")


def _too_large(name: str, packed: int, cap: int, limits: Limits) -> Fault:
    if cap == limits.max_bytes:
        return Fault(name, "file", f"more than {cap / MIB:g} MiB unpacked", f"at most {cap / MIB:g} MiB a recording")
    given = f"a gzip of {packed} bytes that unpacks to more than {cap // packed} times its size"
    return Fault(name, "file", given, f"at most {limits.max_ratio} times")

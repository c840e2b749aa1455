"""Seeded mutations of small sound files of every kind, and what must hold of whatever the readers make of them."""

from __future__ import annotations

import gzip
import io
import json
import random
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np

from analysis.readers.bundle import read_whole_bundle, write_bundle
from analysis.readers.faults import Refused
from analysis.readers.limits import MIB, Limits
from analysis.readers.preview import preview
from tests.analysis.readers.bundles import START, csv_bytes, document, files
from tests.analysis.readers.fit_files import fit_file
from tests.analysis.readers.xml_files import gpx_file, tcx_file

SMALL = Limits(max_bytes=4 * MIB, max_samples=20_000, max_total_bytes=8 * MIB)
SPLICES = (
    b"\0",
    b"\xff",
    b'"',
    b"<",
    b">",
    b"&",
    b"]]>",
    b"<!DOCTYPE a>",
    b"<!--",
    b",",
    b"\n",
    b"-1e308",
    b"nan",
    b"9" * 40,
)
SPLICES += (
    b"\xff\xff\xff\xff",
    b"PK\x03\x04",
    b"\x1f\x8b",
    b".FIT",
    b"2026-05-09T08:00:01Z",
    b"9999-12-31T23:59:59+14:00",
)


def sound_files() -> dict[str, bytes]:
    """One small sound file of each kind."""
    zipped = io.BytesIO()
    write_bundle(document(), files(), zipped)
    samples = [{"power": 250 + at, "speed": 10.0, "position_lat": 52.31 + at * 1e-5} for at in range(20)]
    return {
        "fit": fit_file(START, samples, laps=((0, 10), (10, 20)), developer=[(12.0, -4.5, 250.0)] * 20),
        "tcx": tcx_file(((0, 6), (6, 12)), extra="<flow>3</flow>"),
        "gpx": gpx_file(((0, 6), (6, 12))),
        "csv": csv_bytes(12),
        "zip": zipped.getvalue(),
        "gz": gzip.compress(csv_bytes(12)),
    }


SOUND = sound_files()


def _flip(rng: random.Random, data: bytearray) -> None:
    for _ in range(rng.randint(1, 8)):
        data[rng.randrange(len(data))] = rng.randrange(256)


def _cut(rng: random.Random, data: bytearray) -> None:
    del data[rng.randrange(len(data)) :]


def _drop(rng: random.Random, data: bytearray) -> None:
    at = rng.randrange(len(data))
    del data[at : at + rng.randint(1, 64)]


def _double(rng: random.Random, data: bytearray) -> None:
    at = rng.randrange(len(data))
    data[at:at] = data[at : at + rng.randint(1, 400)] * rng.choice((1, 2, 20))


def _splice(rng: random.Random, data: bytearray) -> None:
    at = rng.randrange(len(data) + 1)
    data[at:at] = rng.choice(SPLICES) * rng.choice((1, 1, 1, 50))


def _swap(rng: random.Random, data: bytearray) -> None:
    first, second, size = rng.randrange(len(data)), rng.randrange(len(data)), rng.randint(1, 40)
    data[first : first + size], data[second : second + size] = data[second : second + size], data[first : first + size]


KINDS: tuple[Callable[[random.Random, bytearray], None], ...] = (_flip, _flip, _cut, _drop, _double, _splice, _swap)


def mutated(kind: str, seed: str) -> bytes:
    """The same kind and seed give the same mutation; half of the packed files are sound outside and mutated inside."""
    rng = random.Random(seed)
    if kind == "gz" and rng.random() < 0.5:
        return gzip.compress(_mutated(rng, rng.choice((csv_bytes(12), SOUND["gpx"], SOUND["fit"]))))
    if kind == "zip" and rng.random() < 0.5:
        return _zip_of(rng)
    return _mutated(rng, SOUND[kind])


def _zip_of(rng: random.Random) -> bytes:
    """A sound zip one of whose members is mutated."""
    contents = {"session.json": json.dumps(document()).encode(), **files()}
    name = rng.choice(list(contents))
    contents[name] = _mutated(rng, contents[name])
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for member, content in contents.items():
            archive.writestr(member, content)
    return target.getvalue()


def _mutated(rng: random.Random, sound: bytes) -> bytes:
    data = bytearray(sound)
    for _ in range(rng.choice((1, 1, 2, 3))):
        if data:
            rng.choice(KINDS)(rng, data)
    return bytes(data)


def outcome(kind: str, data: bytes, folder: Path) -> str:
    """Read as the program does: `read` or `refused`; anything else is an exception."""
    try:
        if kind == "zip":
            path = folder / "day.zip"
            path.write_bytes(data)
            recordings = list(read_whole_bundle(path, limits=SMALL)[1].values())
        else:
            found = preview(f"day.{kind}", data, zone="Atlantic/Azores", limits=SMALL)
            found.document()
            recordings = [found.recording]
    except Refused as refusal:
        if not all(fault.file and fault.key and fault.allowed for fault in refusal.faults) or not refusal.faults:
            raise AssertionError(f"a refusal without its reasons: {refusal}") from refusal
        return "refused"
    for recording in recordings:
        assert recording.time_s.size > 0
        assert (np.diff(recording.time_s) > 0).all()
        for values in (*recording.columns.values(), *recording.extra.values()):
            assert values.shape == recording.time_s.shape
        assert not any(np.isinf(values).any() for values in recording.columns.values())
    return "read"

"""Small bundles for the tests: a sound document, its recordings, and the same as a folder or zip."""

from __future__ import annotations

import copy
import json
import zipfile
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

START = datetime(2026, 5, 9, 8, tzinfo=UTC)
HEADER = "time,latitude_deg,longitude_deg,distance_m,speed_mps,power_w,airspeed_mps,yaw_deg,pressure_hpa,humidity_pct"

DOCUMENT: dict[str, Any] = {
    "schema": "session-bundle/1",
    "session": {"title": "two helmets", "date": "2026-05-09", "timezone": "Atlantic/Azores"},
    "rider": {"code": "R-014", "height_cm": 179, "mass_kg": 72.4},
    "bike": {"name": "Test bike", "kind": "time trial", "mass_kg": 8.9, "wheel_circumference_m": 2.0986},
    "system_mass_kg": 82.0,
    "course": {"kind": "out_and_back", "length_m": 1500, "bearing_deg": 90},
    "assumed": {"crr": 0.004, "drivetrain_efficiency": 0.975},
    "weather": [{"time": "2026-05-09T08:00:00Z", "temperature_c": 18.0, "pressure_hpa": 1008, "humidity_pct": 55}],
    "setups": [
        {"label": "A", "reference": True, "items": {"helmet": "Orlo Vent"}, "position": {"pad_stack_mm": 610}},
        {"label": "B", "items": {"helmet": "Orlo Smooth"}, "tyre_pressure_kpa": {"front": 520, "rear": 540}},
    ],
    "runs": [
        {"number": 1, "setup": "A", "recording": "run-01.csv"},
        {"number": 2, "setup": "B", "recording": "run-02.csv"},
    ],
}


def document(**changes: Any) -> dict[str, Any]:
    """A sound document with some top keys replaced."""
    return {**copy.deepcopy(DOCUMENT), **changes}


def csv_rows(count: int, start: datetime = START) -> list[str]:
    """Rows of a steady ride at one a second, in open sea."""
    times = (start + timedelta(seconds=second) for second in range(count))
    return [
        f"{moment:%Y-%m-%dT%H:%M:%SZ},52.31,{-34.38 + second * 1e-4:.7f},{10 * second},10.5,{250 + second % 5},"
        "12.25,-4.5,1008.5,55"
        for second, moment in enumerate(times)
    ]


def csv_bytes(count: int = 20, start: datetime = START) -> bytes:
    return "\n".join([HEADER, *csv_rows(count, start), ""]).encode()


def files() -> dict[str, bytes]:
    return {"run-01.csv": csv_bytes(), "run-02.csv": csv_bytes(start=START + timedelta(minutes=10))}


def folder(path: Path, doc: Mapping[str, Any] | None = None, contents: Mapping[str, bytes] | None = None) -> Path:
    """Write a bundle as a folder."""
    path.mkdir(parents=True, exist_ok=True)
    (path / "session.json").write_text(json.dumps(doc or document(), ensure_ascii=False), "utf-8")
    for name, content in (files() if contents is None else contents).items():
        (path / name).parent.mkdir(parents=True, exist_ok=True)
        (path / name).write_bytes(content)
    return path


def zipped(path: Path, members: Iterable[tuple[str | zipfile.ZipInfo, bytes]]) -> Path:
    """Write a zip of any members, also hostile ones."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members:
            archive.writestr(name, content)
    return path


def sound_members(prefix: str = "") -> list[tuple[str | zipfile.ZipInfo, bytes]]:
    return [(prefix + "session.json", json.dumps(document()).encode())] + [
        (prefix + name, content) for name, content in files().items()
    ]

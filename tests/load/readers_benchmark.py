"""What a reader costs beside its library: python tests/load/readers_benchmark.py

The yardstick is the same library (stdlib csv, fitdecode, defusedxml) reading the same fields of the same file into
floats and UTC times and nothing else. Both are run in turn, several times, on processor time; the ratio of the best of
each must be at most 1.3. Exits 1 where it is not.
"""

from __future__ import annotations

import csv
import gc
import io
import math
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import fitdecode
from defusedxml.ElementTree import iterparse

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.readers.recording import read_recording
from tests.analysis.readers.fit_files import fit_file
from tests.analysis.readers.xml_files import gpx_file, tcx_file

ALLOWED = 1.3
START = datetime(2026, 5, 9, 8, tzinfo=UTC)
FIT_EPOCH_S = 631_065_600
HEADER = (
    "time,latitude_deg,longitude_deg,altitude_m,distance_m,speed_mps,power_w,cadence_rpm,airspeed_mps,yaw_deg,tilt_deg,"
)
HEADER += "temperature_c,pressure_hpa,humidity_pct\n"


def csv_text(count: int, *, gaps: bool = False) -> bytes:
    """A ride at one a second with thirteen channels, as a device writes it."""
    rows = [HEADER]
    for at in range(count):
        power = "" if gaps and at % 7 == 0 else f"{250 + 40 * math.sin(at / 9):.0f}"
        rows.append(
            f"{START + timedelta(seconds=at):%Y-%m-%dT%H:%M:%SZ},{52.31 + at * 1e-5:.7f},{-34.38 + at * 1e-5:.7f},"
            f"{12 + math.sin(at / 50):.2f},{10.3 * at:.2f},{10.3 + math.sin(at / 20):.3f},{power},{90 + at % 3},"
            f"{11 + math.sin(at / 30):.3f},{4 * math.sin(at / 11):.2f},{math.sin(at / 70):.2f},18.0,1008.0,55.0\n"
        )
    return "".join(rows).encode()


def csv_library(data: bytes) -> list[tuple[datetime | float, ...]]:
    """Stdlib csv into a UTC time and floats, NaN for empty cells."""
    rows = csv.reader(io.TextIOWrapper(io.BytesIO(data), encoding="utf-8", newline=""))
    next(rows)
    return [(datetime.fromisoformat(row[0]), *[float(cell) if cell else math.nan for cell in row[1:]]) for row in rows]


def csv_library_comma(data: bytes) -> list[tuple[datetime | float, ...]]:
    """The same for semicolons and decimal commas."""
    rows = csv.reader(io.TextIOWrapper(io.BytesIO(data), encoding="utf-8", newline=""), delimiter=";")
    next(rows)
    return [(datetime.fromisoformat(row[0]), *[float(cell.replace(",", ".")) for cell in row[1:]]) for row in rows]


def fit_library(data: bytes) -> list[list[datetime | float]]:
    """fitdecode into a UTC time and floats, NaN for invalid values; checksum on, unit names off, as we use it."""
    rows: list[list[datetime | float]] = []
    for frame in fitdecode.FitReader(data, processor=None):
        if frame.frame_type == fitdecode.FIT_FRAME_DATA and frame.name == "record":
            row: list[datetime | float] = []
            for part in frame.fields:
                if part.name == "timestamp":
                    row.append(datetime.fromtimestamp(FIT_EPOCH_S + part.value, UTC))
                else:
                    row.append(math.nan if part.value is None else float(part.value))
            rows.append(row)
    return rows


TCX_NUMBERS = {"LatitudeDegrees", "LongitudeDegrees", "AltitudeMeters", "DistanceMeters", "Value", "Cadence"}
TCX_NUMBERS |= {"Speed", "Watts"}
GPX_NUMBERS = {"ele", "power", "atemp", "hr", "cad", "speed"}


def tcx_library(data: bytes) -> list[list[datetime | float]]:
    """defusedxml's iterparse into a UTC time and floats, clearing what is done."""
    rows: list[list[datetime | float]] = []
    row: list[datetime | float] = []
    for _, element in iterparse(io.BytesIO(data), forbid_dtd=True):
        name = element.tag.rpartition("}")[2]
        if name == "Trackpoint":
            rows.append(row)
            row = []
            element.clear()
        elif name == "Time":
            row.append(datetime.fromisoformat(element.text))
        elif name in TCX_NUMBERS:
            row.append(float(element.text))
    return rows


def gpx_library(data: bytes) -> list[list[datetime | float]]:
    """The same for GPX, whose points carry their position as attributes."""
    rows: list[list[datetime | float]] = []
    row: list[datetime | float] = []
    for _, element in iterparse(io.BytesIO(data), forbid_dtd=True):
        name = element.tag.rpartition("}")[2]
        if name == "trkpt":
            rows.append([*row, float(element.get("lat")), float(element.get("lon"))])
            row = []
            element.clear()
        elif name == "time":
            row.append(datetime.fromisoformat(element.text))
        elif name in GPX_NUMBERS:
            row.append(float(element.text))
    return rows


def fit_bytes(count: int) -> bytes:
    """The same kind of ride in FIT, with three developer fields."""
    samples = [
        {
            "position_lat": 52.31 + at * 1e-5,
            "position_long": -34.38,
            "altitude": 12.0,
            "distance": 10.3 * at,
            "speed": 10.3,
            "power": 250 + at % 40,
            "cadence": 90,
            "heart_rate": 140,
            "temperature": 18,
        }
        for at in range(count)
    ]
    return fit_file(START, samples, laps=((0, count // 2),), developer=[(11.2, -4.5, 250.0)] * count)


def seconds(work: Callable[[], object], times: int) -> float:
    """Processor seconds of one call."""
    gc.collect()
    began = time.process_time()
    for _ in range(times):
        work()
    return (time.process_time() - began) / times


def ratio(name: str, data: bytes, library: Callable[[bytes], object]) -> float:
    """Print and return ours over the library's, best of fifteen each, in turn."""
    times = max(1, 2_000_000 // len(data))
    ours, theirs = [], []
    for _ in range(15):
        ours.append(seconds(lambda: read_recording(name, data), times))
        theirs.append(seconds(lambda: library(data), times))
    found = min(ours) / min(theirs)
    print(f"{name:34} {min(ours) * 1e3:8.2f} ms  library {min(theirs) * 1e3:8.2f} ms  ratio {found:.2f}")
    return found


def main() -> int:
    comma = csv_text(10_800).replace(b",", b";").replace(b".", b",")
    ratios = [
        ratio("CSV, 300 samples", csv_text(300), csv_library),
        ratio("CSV, 10 800 samples", csv_text(10_800), csv_library),
        ratio("CSV, 10 800 samples, gaps", csv_text(10_800, gaps=True), csv_library),
        ratio("CSV, 10 800 samples, commas", comma, csv_library_comma),
        ratio("FIT, 1 800 samples", fit_bytes(1_800), fit_library),
        ratio("TCX, 300 samples", tcx_file(((0, 300),)), tcx_library),
        ratio("TCX, 5 400 samples", tcx_file(((0, 2700), (2700, 5400))), tcx_library),
        ratio("GPX, 5 400 samples", gpx_file(((0, 2700), (2700, 5400))), gpx_library),
    ]
    return 0 if max(ratios) <= ALLOWED else 1


if __name__ == "__main__":
    sys.exit(main())

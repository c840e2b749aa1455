"""The demo's test days as bundles: simulated, then written down as a device and a fitter would. No database here."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from analysis.core.simulate import World, simulate_session
from analysis.core.types import Channels, Run, Session
from analysis.jobs.demo_world import DAYS, RIDERS, TIMEZONE, USUAL_SETUP, DemoDay, DemoRider

KIT_MASS_KG = 2.4  # clothing, shoes, bottle
COLUMNS = (
    # name in files, field of Channels, factor and offset from SI, digits that a device would write
    ("latitude_deg", "latitude_rad", 180 / math.pi, 0.0, 7),
    ("longitude_deg", "longitude_rad", 180 / math.pi, 0.0, 7),
    ("altitude_m", "altitude_m", 1.0, 0.0, 2),
    ("distance_m", "distance_m", 1.0, 0.0, 2),
    ("speed_mps", "speed_mps", 1.0, 0.0, 3),
    ("power_w", "power_w", 1.0, 0.0, 0),
    ("airspeed_mps", "airspeed_mps", 1.0, 0.0, 3),
    ("yaw_deg", "yaw_rad", 180 / math.pi, 0.0, 2),
    ("tilt_deg", "tilt_rad", 180 / math.pi, 0.0, 2),
    ("temperature_c", "temperature_k", 1.0, -273.15, 1),
    ("pressure_hpa", "pressure_pa", 0.01, 0.0, 1),
    ("humidity_pct", "humidity", 100.0, 0.0, 0),
)


def demo_bundle(number: int) -> tuple[dict[str, Any], dict[str, bytes]]:
    """Document and recordings of a day, counted from 1; the same number gives the same bytes."""
    day = DAYS[number - 1]
    rider = RIDERS[day.rider]
    session, _ = simulate_session(world_of(number), np.random.default_rng([2026, number]))
    start = datetime.combine(datetime.fromisoformat(day.date), datetime.min.time(), ZoneInfo(TIMEZONE))
    start += timedelta(hours=8)
    files = {f"run-{run.number:02}.csv": csv_bytes(run, start.astimezone(UTC)) for run in session.runs}
    return bundle_document(day, rider, session), files


def world_of(number: int) -> World:
    """What is simulated for a day: days lie some way from each other, all of them in open sea."""
    day = DAYS[number - 1]
    rider = RIDERS[day.rider]
    mass_kg = round(rider.mass_kg + rider.bike_mass_kg + KIT_MASS_KG, 1)
    return World(**{"mass_kg": mass_kg, "longitude_rad": math.radians(-34.38 - 0.05 * number), **day.world})


def bundle_document(day: DemoDay, rider: DemoRider, session: Session) -> dict[str, Any]:
    """The day as a session bundle says it."""
    course, bike = session.course, session.bike
    setups = [{"label": "A", "reference": True, **USUAL_SETUP}]
    for label, changed in zip("BCD", (day.changed, *day.further), strict=False):
        merged = {k: {**USUAL_SETUP[k], **v} if isinstance(v, dict) else v for k, v in changed.items()}
        setups.append({"label": label, "reference": False, **USUAL_SETUP, **merged})
    return {
        "schema": "session-bundle/1",
        "session": {"title": day.title, "date": day.date, "timezone": TIMEZONE, "fitter": "fitter", "note": day.note},
        "rider": {"code": rider.code, "height_cm": rider.height_cm, "mass_kg": rider.mass_kg},
        "bike": {"name": rider.bike, "kind": rider.bike_kind, "mass_kg": rider.bike_mass_kg}
        | {"wheel_circumference_m": bike.wheel_circumference_m, "wheel_inertia_kg_m2": bike.wheel_inertia_kg_m2},
        "system_mass_kg": session.system_mass_kg,
        "course": {
            "kind": course.kind,
            "length_m": course.length_m,
            "bearing_deg": round(math.degrees(course.bearing_rad or 0.0), 1),
        },
        "assumed": {"crr": 0.0042, "drivetrain_efficiency": 0.975},
        "setups": setups,
        "runs": [
            {"number": run.number, "setup": run.setup, "recording": f"run-{run.number:02}.csv"} for run in session.runs
        ],
    }


def csv_bytes(run: Run, epoch: datetime) -> bytes:
    """A run's samples as the CSV text that a device's export would hold."""
    channels = run.channels
    assert channels is not None  # the simulator always records
    present = [column for column in COLUMNS if getattr(channels, column[1]) is not None]
    rows = [",".join(["time", *(name for name, *_ in present)])]
    rows += [",".join(row) for row in zip(_times(channels, epoch), *_texts(channels, present), strict=True)]
    return ("\n".join(rows) + "\n").encode()


def _times(channels: Channels, epoch: datetime) -> list[str]:
    return [f"{epoch + timedelta(seconds=float(second)):%Y-%m-%dT%H:%M:%SZ}" for second in channels.time_s]


def _texts(channels: Channels, columns: list[tuple[str, str, float, float, int]]) -> list[list[str]]:
    return [
        [f"{value * factor + offset:.{digits}f}" for value in getattr(channels, field)]
        for _, field, factor, offset, digits in columns
    ]

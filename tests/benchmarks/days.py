"""The test days that are measured: simulated, at one sample a second or more, and written down as a bundle."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields, replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np

from analysis.core.simulate import World, simulate_session
from analysis.core.types import Array, Channels, Session
from analysis.jobs.demo_bundle import bundle_document, csv_bytes
from analysis.jobs.demo_world import DAYS, RIDERS

FIVE_MINUTES = World(length_m=1560.0)  # there and back
LAP_S = 93.5  # of the lap below
NOISE = {"power_w": 8.0, "airspeed_mps": 0.15, "speed_mps": 0.02, "yaw_rad": 0.01}  # of one sample


@cache
def eight_runs() -> Session:
    """Eight runs of five minutes at one sample a second."""
    session, _ = simulate_session(FIVE_MINUTES, np.random.default_rng(6))
    return session


@cache
def laps(hours: float) -> Session:
    """Eight runs on one closed road that take so many hours together, at one sample a second."""
    rounds = round(hours * 3600 / 8 / LAP_S)
    world = World(kind="lap", length_m=1000.0, laps=rounds)
    session, _ = simulate_session(world, np.random.default_rng(7))
    return session


@cache
def laps_at_ten_hertz(hours: float) -> Session:
    """The same day between its seconds too: straight lines, with each sample's own noise, since cost is all we ask."""
    rng = np.random.default_rng(8)
    session = laps(hours)
    return replace(
        session,
        runs=tuple(
            replace(run, channels=_ten_hertz(run.channels, rng)) for run in session.runs if run.channels is not None
        ),
    )


def _ten_hertz(channels: Channels | None, rng: np.random.Generator) -> Channels:
    assert channels is not None
    first, last = channels.time_s[[0, -1]]
    time_s = first + np.arange(10 * round(last - first) + 1) / 10

    def finer(name: str, values: Array) -> Array:
        between = np.interp(time_s, channels.time_s, values)
        return between + rng.normal(0.0, NOISE[name], time_s.size) if name in NOISE else between

    arrays = {f.name: getattr(channels, f.name) for f in fields(channels)}
    there = {name: values for name, values in arrays.items() if values is not None and name != "time_s"}
    return Channels(time_s=time_s, **{name: finer(name, values) for name, values in there.items()})


def samples(session: Session) -> int:
    """How many samples a day holds."""
    return sum(run.channels.time_s.size for run in session.runs if run.channels is not None)


def channel_bytes(session: Session) -> int:
    """What a day's channels take up."""
    columns = (getattr(run.channels, f.name) for run in session.runs for f in fields(Channels))
    return sum(values.nbytes for values in columns if values is not None)


def bundle_folder(path: Path) -> Path:
    """The eight runs as a session bundle on the disk, a CSV file for each."""
    session = eight_runs()
    day = next(day for day in DAYS if not day.further)
    document = bundle_document(day, RIDERS[day.rider], session)
    start = datetime(2026, 5, 9, 8, tzinfo=UTC)
    files: Mapping[str, bytes] = {f"run-{run.number:02}.csv": csv_bytes(run, start) for run in session.runs}
    (path / "session.json").write_text(json.dumps(document), "utf-8")
    for name, content in files.items():
        (path / name).write_bytes(content)
    return path

"""A whole day in one file, out of simulated runs: the rider waits between them."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from analysis.core.simulate import World, simulate_session
from analysis.readers.samples import Lap, Recording

START = datetime(2026, 5, 9, 8, tzinfo=UTC)
CHANNELS = ("latitude_deg", "longitude_deg", "distance_m", "speed_mps")


def runs_of(world: World, seed: int) -> list[dict[str, np.ndarray]]:
    """Each run's samples in the units of files, its clock on the session's."""
    session, _ = simulate_session(world, np.random.default_rng(seed))
    return [
        {
            "time_s": run.channels.time_s,
            "latitude_deg": np.rad2deg(run.channels.latitude_rad),
            "longitude_deg": np.rad2deg(run.channels.longitude_rad),
            "distance_m": run.channels.distance_m,
            "speed_mps": run.channels.speed_mps,
        }
        for run in session.runs
    ]


def waiting(seconds: np.ndarray, place: dict[str, np.ndarray], at: int, rng: np.random.Generator) -> dict:
    """Stand where a run began or ended, seen by a receiver that wanders a metre."""
    noise = rng.normal(0, 0.5, (2, seconds.size)) / 111_000
    return {
        "time_s": seconds,
        "latitude_deg": place["latitude_deg"][at] + noise[0],
        "longitude_deg": place["longitude_deg"][at] + noise[1],
        "distance_m": np.zeros(seconds.size),
        "speed_mps": np.zeros(seconds.size),
    }


def one_day(world: World, seed: int = 1) -> tuple[Recording, list[tuple[float, float]]]:
    """Join a session's runs into one recording; gives it and each run's true span."""
    rng = np.random.default_rng(seed)
    runs, parts, spans = runs_of(world, seed), [], []
    ridden = 0.0
    for at, run in enumerate(runs):
        run = {**run, "distance_m": run["distance_m"] - run["distance_m"][0] + ridden}
        ridden = float(run["distance_m"][-1])
        spans.append((float(run["time_s"][0]), float(run["time_s"][-1])))
        parts.append(run)
        if at + 1 < len(runs):
            seconds = np.arange(run["time_s"][-1] + 1, runs[at + 1]["time_s"][0])
            halves = seconds[: seconds.size // 2], seconds[seconds.size // 2 :]
            pauses = waiting(halves[0], run, -1, rng), waiting(halves[1], runs[at + 1], 0, rng)
            parts += [{**pause, "distance_m": np.full(pause["time_s"].size, ridden)} for pause in pauses]
    columns = {name: np.concatenate([part[name] for part in parts]) for name in CHANNELS}
    time_s = np.concatenate([part["time_s"] for part in parts])
    laps = tuple(Lap(number, first, last + 1) for number, (first, last) in enumerate(spans, 1))
    return Recording("fit", START, time_s, columns, {}, laps), spans

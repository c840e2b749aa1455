"""What the command line answers, one function a command, loaded when one of them is asked for."""

from __future__ import annotations

import argparse
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

from analysis.core.air import air_density_kg_m3
from analysis.core.document import result_document
from analysis.core.lean import lean, track_lap
from analysis.core.repeatability import cells_of, most_scattered, pooled
from analysis.core.ridetime import watts_at_speed
from analysis.core.session import estimate
from analysis.core.types import Questions, SessionRefused, SessionResult
from analysis.readers.bundle import core_session, read_whole_bundle
from analysis.readers.faults import Refused
from analysis.readers.session import ZERO_CELSIUS_K


def _session(options: argparse.Namespace) -> dict[str, Any]:
    usual = Questions()
    questions = Questions(
        speeds_mps=tuple(speed / 3.6 for speed in options.speed_kmh or ()) or usual.speeds_mps,
        distances_m=tuple(distance * 1000 for distance in options.distance_km or ()) or usual.distances_m,
        powers_w=tuple(options.power_w or ()) or usual.powers_w,
    )
    return result_document(_estimated(options.bundle, questions))


def _repeatability(options: argparse.Namespace) -> dict[str, Any]:
    """What goes into a bundle as its `repeatability`, and the setup of which session scatters most."""
    cells = {
        (str(path), label): areas
        for path in options.bundles
        for label, areas in cells_of(_estimated(path, Questions())).items()
    }
    found, worst = pooled(tuple(cells.values())), most_scattered(tuple(cells.values()))
    at = list(cells)[worst.cell] if worst else None
    return {
        "repeatability": found and {"sd_m2": found.sd_m2, "df": found.df},
        "most_scattered": worst
        and at
        and {"bundle": at[0], "setup": at[1], "cochran_c": worst.share, "critical_1_pct": worst.critical},
    }


def _estimated(path: Path, questions: Questions) -> SessionResult:
    bundle, recordings = read_whole_bundle(path)
    session = core_session(bundle.document, recordings, questions=questions)
    notes = tuple(dict.fromkeys((*session.notes, *bundle.notes)))
    return estimate(replace(session, notes=notes))


def _density(options: argparse.Namespace) -> dict[str, Any]:
    kelvin, pascal = options.temperature_c + ZERO_CELSIUS_K, options.pressure_hpa * 100
    return {"air_density_kg_m3": float(air_density_kg_m3(kelvin, pascal, options.humidity_pct / 100))}


def _track(options: argparse.Namespace) -> dict[str, Any]:
    speed = options.speed_kmh / 3.6
    bend = lean(speed, options.radius_m, options.height_m)
    lap = track_lap(speed, options.radius_m, options.length_m, options.height_m)
    return {
        "lean_deg": math.degrees(bend.lean_rad),
        "tyre_load": float(bend.load),
        "lap_s": lap.duration_s,
        "centre_of_mass_kmh": {"bends": float(bend.speed_mps) * 3.6, "lap": lap.mean_speed_mps * 3.6},
        "drag_factor": lap.drag_factor,
    }


def _watts(options: argparse.Namespace) -> dict[str, Any]:
    delta_w = watts_at_speed(options.delta_cda_m2, options.speed_kmh / 3.6, options.density_kg_m3, options.efficiency)
    return {"delta_w": float(delta_w)}


ANSWERS = {  # with what they refuse
    "session": (_session, (Refused, SessionRefused)),
    "repeatability": (_repeatability, (Refused, SessionRefused)),
    "density": (_density, (ValueError,)),
    "track": (_track, (ValueError,)),
    "watts": (_watts, (ValueError,)),
}

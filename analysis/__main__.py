"""The command line: the bare computation, without a database.

    python -m analysis session FOLDER_OR_ZIP
    python -m analysis density --temperature-c 18 --pressure-hpa 1008 --humidity-pct 55
    python -m analysis pool ARMS.csv --reference PRODUCT
    python -m analysis repeatability FOLDER_OR_ZIP FOLDER_OR_ZIP
    python -m analysis track --speed-kmh 50 --radius-m 25 --length-m 250 --height-m 1.0
    python -m analysis watts --delta-cda-m2 -0.0015 --speed-kmh 40
    python -m analysis yardstick --scenario wheels --sessions 400
    python -m analysis yardstick --faults --sessions 200

One JSON document on standard output, messages on standard error; exit 0 with a result (also an invalid one), 2 with
every fault. Only core and readers are imported, so that it starts fast.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import re
import sys
from collections.abc import Sequence
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from typing import Any

# The matrices are small: threads inside the linear algebra take longer to start, and to wait for, than they save.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

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

EXIT_REFUSED = 2
NEGATIVE = re.compile(r"-(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?", re.ASCII)


def _number(text: str) -> float:
    """Read an option's number; argparse turns the error into a sentence and exit 2."""
    value = float(text)
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"{text} is no finite number")
    return value


def _positive(text: str) -> float:
    value = _number(text)
    if value <= 0:
        raise argparse.ArgumentTypeError(f"{text} must be more than 0")
    return value


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m analysis", description="Drag areas from a session's recordings.")
    commands = parser.add_subparsers(dest="command", required=True)
    session = commands.add_parser("session", help="read a session bundle and print its result")
    session.add_argument("bundle", type=Path, metavar="FOLDER_OR_ZIP")
    session.add_argument(
        "--speed-kmh", type=_positive, action="append", help="watts are told at this speed (repeatable)"
    )
    session.add_argument("--distance-km", type=_positive, action="append", help="seconds are told over this distance")
    session.add_argument("--power-w", type=_positive, action="append", help="seconds are told at this power")
    session.set_defaults(run=_session, refusals=(Refused, SessionRefused))
    density = commands.add_parser("density", help="density of moist air (CIPM-2007)")
    density.add_argument("--temperature-c", type=_number, required=True)
    density.add_argument(
        "--pressure-hpa", type=_number, required=True, help="station pressure, not reduced to sea level"
    )
    density.add_argument("--humidity-pct", type=_number, required=True)
    density.set_defaults(run=_density, refusals=(ValueError,))
    watts = commands.add_parser("watts", help="what a difference of drag area costs at a speed")
    watts.add_argument("--delta-cda-m2", type=_number, required=True, help="changed minus reference")
    watts.add_argument("--speed-kmh", type=_positive, required=True)
    watts.add_argument("--density-kg-m3", type=_positive, default=1.225)
    watts.add_argument("--efficiency", type=_positive, default=1.0)
    watts.set_defaults(run=_watts, refusals=(ValueError,))
    track = commands.add_parser(
        "track", help="how far a rider leans in a track's bends, and what wheels miss of the drag"
    )
    track.add_argument("--speed-kmh", type=_positive, required=True, help="of the wheels")
    track.add_argument("--radius-m", type=_positive, required=True, help="of the wheels' path in the bends")
    track.add_argument("--length-m", type=_positive, required=True, help="once round by the wheels")
    track.add_argument("--height-m", type=_positive, default=1.0, help="of the centre of mass, upright")
    track.set_defaults(run=_track, refusals=(ValueError,))
    commands.add_parser("yardstick", help="the estimator on simulated sessions (its own --help)", add_help=False)
    pooled = commands.add_parser("pool", help="standings of products from arms of many sessions")
    pooled.add_argument("arms", type=Path, metavar="ARMS.csv", help="columns study,rider,product,cda_m2,se_m2")
    pooled.add_argument("--reference", required=True, metavar="PRODUCT", help="what the others are told against")
    repeated = commands.add_parser("repeatability", help="how well runs repeat, from earlier session bundles")
    repeated.add_argument("bundles", type=Path, nargs="+", metavar="FOLDER_OR_ZIP")
    repeated.set_defaults(run=_repeatability, refusals=(Refused, SessionRefused))
    return parser


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


def _session(options: argparse.Namespace) -> dict[str, Any]:
    usual = Questions()
    questions = Questions(
        speeds_mps=tuple(speed / 3.6 for speed in options.speed_kmh or ()) or usual.speeds_mps,
        distances_m=tuple(distance * 1000 for distance in options.distance_km or ()) or usual.distances_m,
        powers_w=tuple(options.power_w or ()) or usual.powers_w,
    )
    return result_document(_estimated(options.bundle, questions))


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


def _joined(arguments: Sequence[str]) -> list[str]:
    """Tie negative numbers to their options: argparse takes -1e-3 for an option of its own."""
    joined: list[str] = []
    for text in arguments:
        if joined and joined[-1].startswith("--") and "=" not in joined[-1] and NEGATIVE.fullmatch(text):
            joined[-1] += "=" + text
        else:
            joined.append(text)
    return joined


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit status is 0 with a result and 2 with faults."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    if given[:1] == ["yardstick"]:  # its simulator and processes load only when asked for: the others start fast
        own = [argument for argument in given[1:] if argument != "--faults"]
        return int(import_module("analysis.yardstick" + "_faults" * (own != given[1:])).main(own))
    options = _parser().parse_args(_joined(given))
    if options.command == "pool":
        pooling = import_module("analysis.pooling")
        options.run, options.refusals = pooling.run, pooling.REFUSALS
    try:
        document = options.run(options)
    except options.refusals as refusal:
        print(refusal, file=sys.stderr)
        return EXIT_REFUSED
    try:
        print(json.dumps(document, indent=1, allow_nan=False), flush=True)
    except BrokenPipeError:  # whoever reads has seen enough; the interpreter would flush into the closed pipe once more
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0


if __name__ == "__main__":
    sys.exit(main())

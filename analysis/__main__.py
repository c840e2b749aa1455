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
every fault. Only core and readers are imported, and only when the command that needs them is asked for, so that it
starts fast.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import re
import sys
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path

# The matrices are small: threads inside the linear algebra take longer to start, and to wait for, than they save.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

EXIT_REFUSED = 2
ELSEWHERE = {"pool": "analysis.pooling"}  # of the commands that `analysis.answers` does not know
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
    density = commands.add_parser("density", help="density of moist air (CIPM-2007)")
    density.add_argument("--temperature-c", type=_number, required=True)
    density.add_argument(
        "--pressure-hpa", type=_number, required=True, help="station pressure, not reduced to sea level"
    )
    density.add_argument("--humidity-pct", type=_number, required=True)
    watts = commands.add_parser("watts", help="what a difference of drag area costs at a speed")
    watts.add_argument("--delta-cda-m2", type=_number, required=True, help="changed minus reference")
    watts.add_argument("--speed-kmh", type=_positive, required=True)
    watts.add_argument("--density-kg-m3", type=_positive, default=1.225)
    watts.add_argument("--efficiency", type=_positive, default=1.0)
    track = commands.add_parser(
        "track", help="how far a rider leans in a track's bends, and what wheels miss of the drag"
    )
    track.add_argument("--speed-kmh", type=_positive, required=True, help="of the wheels")
    track.add_argument("--radius-m", type=_positive, required=True, help="of the wheels' path in the bends")
    track.add_argument("--length-m", type=_positive, required=True, help="once round by the wheels")
    track.add_argument("--height-m", type=_positive, default=1.0, help="of the centre of mass, upright")
    commands.add_parser("yardstick", help="the estimator on simulated sessions (its own --help)", add_help=False)
    pooled = commands.add_parser("pool", help="standings of products from arms of many sessions")
    pooled.add_argument("arms", type=Path, metavar="ARMS.csv", help="columns study,rider,product,cda_m2,se_m2")
    pooled.add_argument("--reference", required=True, metavar="PRODUCT", help="what the others are told against")
    repeated = commands.add_parser("repeatability", help="how well runs repeat, from earlier session bundles")
    repeated.add_argument("bundles", type=Path, nargs="+", metavar="FOLDER_OR_ZIP")
    return parser


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
    run, refusals = import_module(ELSEWHERE.get(options.command, "analysis.answers")).ANSWERS[options.command]
    try:
        document = run(options)
    except refusals as refusal:
        print(refusal, file=sys.stderr)
        return EXIT_REFUSED
    try:
        print(json.dumps(document, indent=1, allow_nan=False), flush=True)
    except BrokenPipeError:  # whoever reads has seen enough; the interpreter would flush into the closed pipe once more
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""`python -m analysis yardstick --faults`: each fault in many simulated sessions beside its clean twin.

    python -m analysis yardstick --faults --sessions 200

Bias is the mean change of the difference's error against the clean twin: what the fault leaves after repair.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial

from analysis.core.session import estimate
from analysis.core.yardstick.faults import FAULTS, Caught, try_faults
from analysis.core.yardstick.table import mean

NICENESS = 10


def options(arguments: Sequence[str]) -> argparse.Namespace:
    """Read the command's options."""
    parser = argparse.ArgumentParser(prog="python -m analysis yardstick --faults", description=__doc__.splitlines()[0])
    parser.add_argument("--fault", action="append", choices=list(FAULTS), help="repeatable; all without it")
    parser.add_argument("--sessions", type=int, default=200, help="of each fault")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    return parser.parse_args(arguments)


def one(names: Sequence[str], seed: int, index: int) -> dict[str, Caught]:
    """Try one session."""
    return try_faults(names, seed, index, estimate)


def line(name: str, tried: Sequence[Caught]) -> str:
    """A fault's line of the table."""
    both = [(c.error_m2, c.twin_error_m2) for c in tried]
    moved = [e - t for e, t in both if e is not None and t is not None]
    told = bool(FAULTS[name].codes)
    shares = [mean([float(c.caught) for c in tried]), mean([float(c.false) for c in tried])]
    cells = [s.text(digits=3) if told else "-" for s in shares]
    unanswered = str(sum(c.error_m2 is None for c in tried))
    cells += [mean(moved).text(1e4), mean([m * m for m in moved]).text(1e8), unanswered]
    return "| " + " | ".join([name, str(len(tried)), *cells]) + " |"


def main(arguments: Sequence[str]) -> int:
    """Try every fault in every session, and write the table."""
    chosen = options(arguments)
    os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    names = tuple(chosen.fault or FAULTS)
    tried: list[dict[str, Caught]] = []
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(chosen.workers, mp_context=spawn, initializer=os.nice, initargs=(NICENESS,)) as pool:
        for found in pool.map(partial(one, names, chosen.seed), range(chosen.sessions)):
            tried.append(found)
            sys.stderr.write(f"\r{len(tried)} of {chosen.sessions} sessions")
    titles = ["fault", "n", "caught", "false", "bias", "mean square change", "no answer"]
    lines = ["\nBias in 0.0001 m2, its square in 1e-8 m4; ± is one standard error."]
    lines += ["| " + " | ".join(cells) + " |" for cells in (titles, ["---"] * len(titles))]
    lines += [line(name, [found[name] for found in tried]) for name in names]
    sys.stdout.write("\n".join(lines) + "\n")
    return 0

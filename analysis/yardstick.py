"""`python -m analysis yardstick`: the estimator on simulated sessions, against the truth and the information bound.

    python -m analysis yardstick --scenario sag --sessions 400 --keep sag.jsonl

Here are the processes, the files and the clock; sessions, scores and figures belong to `analysis.core.yardstick`.
A session is fixed by its scenario, seed and number: with `--keep` a run that was ended goes on where it stopped.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import sys
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, replace
from functools import partial
from pathlib import Path
from typing import Any

from analysis.core.ablation import PARTS
from analysis.core.session import estimate
from analysis.core.simulate import SCENARIOS
from analysis.core.yardstick.score import Compared, Score, play, score
from analysis.core.yardstick.table import heading, row, shares

NICENESS = 10  # long runs give way to everything else


def options(arguments: Sequence[str]) -> argparse.Namespace:
    """Read the command's options."""
    parser = argparse.ArgumentParser(prog="python -m analysis yardstick", description=__doc__.splitlines()[0])
    parser.add_argument("--scenario", action="append", choices=list(SCENARIOS), help="repeatable; all without it")
    parser.add_argument("--sessions", type=int, default=400, help="of each scenario")
    parser.add_argument("--looks", choices=["end", "every-run"], default="end", help="estimate after every run as well")
    parser.add_argument(
        "--without",
        action="append",
        choices=list(PARTS),
        default=[],
        help="a part of the estimator to take out; repeatable",
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--keep", type=Path, help="keep scores here, a line each, and go on from those already there")
    return parser.parse_args(arguments)


def one(name: str, seed: int, look: bool, without: frozenset[str], index: int) -> Score:
    """Play and score one session; the seconds are the estimator's own, looks included."""
    played = play(SCENARIOS[name], seed, index)
    begin = time.perf_counter()
    answer = score(played, index, partial(estimate, without=without), look=look)
    return replace(answer, seconds=time.perf_counter() - begin)


def kept_scores(path: Path | None, key: dict[str, Any]) -> dict[int, Score]:
    """Scores of earlier runs of the same scenario, seed and looks."""
    if path is None or not path.exists():
        return {}
    found = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        entry = json.loads(line)
        if {k: entry.get(k) for k in key} == key:
            values = entry["score"]
            compared = tuple(Compared(**c) for c in values.pop("compared"))
            lists = {k: tuple(v) for k, v in values.items() if isinstance(v, list)}
            found[entry["score"]["index"]] = Score(**{**values, **lists, "compared": compared})
    return found


def scenario_scores(name: str, chosen: argparse.Namespace, pool: ProcessPoolExecutor) -> Iterator[Score]:
    """All scores of a scenario, those already kept first."""
    without = sorted(set(chosen.without))
    key = {"scenario": name, "seed": chosen.seed, "looks": chosen.looks, "without": without}
    kept = kept_scores(chosen.keep, key)
    yield from (s for index, s in kept.items() if index < chosen.sessions)
    missing = [index for index in range(chosen.sessions) if index not in kept]
    for answer in pool.map(partial(one, name, chosen.seed, chosen.looks == "every-run", frozenset(without)), missing):
        if chosen.keep is not None:
            with chosen.keep.open("a", encoding="utf-8") as file:
                file.write(json.dumps({**key, "score": asdict(answer)}) + "\n")
        yield answer


def main(arguments: Sequence[str]) -> int:
    """Run the scenarios and write their lines as they come."""
    chosen = options(arguments)
    os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}  # the processes share the cores
    names = chosen.scenario or list(SCENARIOS)
    write("\n".join(heading()))
    details: list[str] = []
    spawn = multiprocessing.get_context("spawn")  # a fresh process reads the setting above
    with ProcessPoolExecutor(chosen.workers, mp_context=spawn, initializer=os.nice, initargs=(NICENESS,)) as pool:
        for name in names:
            scores: list[Score] = []
            for answer in scenario_scores(name, chosen, pool):
                scores.append(answer)
                if len(scores) % 50 == 0:
                    sys.stderr.write(f"{name}: {len(scores)} of {chosen.sessions}\n")
            write(row(name, scores))
            details += shares(name, scores)
    write("\n" + "\n".join(details))
    return 0


def write(text: str) -> None:
    """Write to standard output at once: a run may take hours."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

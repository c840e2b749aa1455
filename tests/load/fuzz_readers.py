"""Readers under seeded mutations, in a child with limits: python tests/load/fuzz_readers.py --mutations 20000 --seed 1

Files are read as the program reads them. A crash, a hang or memory beyond the worker's own limit ends with 1 and names
the kind and the number, which with the seed make the file again.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.analysis.readers.mutations import SOUND, mutated, outcome

ADDRESS_BYTES = 3 << 29  # 1.5 GiB, as the worker's child has
GROWTH_BYTES = 200 << 20  # of resident memory over a whole round of small files
SLOWEST_S = 5.0  # processor time of one small file
ROUND = 500  # mutations to a child
STUCK_S = 300


def child(kind: str, first: int, count: int, seed: int) -> int:
    """Read one round of mutations; prints counts, or the number that failed."""
    resource.setrlimit(resource.RLIMIT_AS, (ADDRESS_BYTES, ADDRESS_BYTES))
    counts: Counter[str] = Counter()
    slowest = 0.0
    with tempfile.TemporaryDirectory() as folder:
        outcome(kind, SOUND[kind], Path(folder))  # libraries are loaded before memory is measured
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
        for at in range(first, first + count):
            print(f"at {at}", file=sys.stderr, flush=True)
            data = mutated(kind, f"{seed} {kind} {at}")
            began = time.process_time()
            counts[outcome(kind, data, Path(folder))] += 1
            spent = time.process_time() - began
            slowest = max(slowest, spent)
            if spent > SLOWEST_S:
                raise AssertionError(f"{spent:.1f} s for {len(data)} bytes")
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 - before
    if grown > GROWTH_BYTES:
        raise AssertionError(f"memory grew by {grown >> 20} MiB")
    print(counts["read"], counts["refused"], f"{slowest:.3f}", grown >> 20)
    return 0


def round_of(kind: str, first: int, count: int, seed: int) -> tuple[list[str], str]:
    """Run one child; its figures, or what went wrong."""
    command = [sys.executable, __file__, "--child", kind, "--first", str(first), "--mutations", str(count)]
    try:
        done = subprocess.run(
            [*command, "--seed", str(seed)], capture_output=True, text=True, timeout=STUCK_S, check=False
        )
    except subprocess.TimeoutExpired as error:
        said = (error.stderr or b"").decode(errors="replace").splitlines()
        return [], f"{kind}: stuck {said[-1] if said else 'at the start'}"
    if done.returncode:
        at = [line for line in done.stderr.splitlines() if line.startswith("at ")]
        last = done.stderr.strip().splitlines()[-1:] or [f"exit {done.returncode}"]
        return [], f"{kind}: {at[-1] if at else 'at the start'}: {last[0]}"
    return done.stdout.split(), ""


def main() -> int:
    """Share the mutations out over the kinds and print what became of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--mutations", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--child", help=argparse.SUPPRESS)
    parser.add_argument("--first", type=int, default=0, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.child:
        return child(options.child, options.first, options.mutations, options.seed)
    kinds = list(SOUND)
    failures = []
    for place, kind in enumerate(kinds):
        share = options.mutations // len(kinds) + (place < options.mutations % len(kinds))
        read = refused = most_mib = 0
        slowest = 0.0
        for first in range(0, share, ROUND):
            figures, failure = round_of(kind, first, min(ROUND, share - first), options.seed)
            if failure:
                failures.append(failure)
                print(failure)
                continue
            read, refused = read + int(figures[0]), refused + int(figures[1])
            slowest, most_mib = max(slowest, float(figures[2])), max(most_mib, int(figures[3]))
        print(f"{kind:4} {share:6} mutations: {read} read, {refused} refused, slowest {slowest:.3f} s, +{most_mib} MiB")
    print(f"{options.mutations} mutations, seed {options.seed}: {len(failures)} rounds failed")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())

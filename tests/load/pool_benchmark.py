"""What pooling costs at a million arms: python tests/load/pool_benchmark.py

Two yardsticks, each run in turn with ours: one numpy.bincount over the sorted studies against arrays to tau2, effects
and covariance (at most 120 times, 1,500 with riders who repeat products, under 600 MiB), and a process that only reads
the same file with pyarrow against the whole command (at most 4 times, 8 with repeats). Exits 1 where one is missed.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command has it

import numpy as np  # noqa: E402
import pyarrow as pa
from pyarrow import csv

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from analysis.core.pool.arms import Arms  # noqa: E402
from analysis.core.pool.fit import fit  # noqa: E402

ARMS, STUDIES, PRODUCTS, REPEATERS = 1_000_000, 400_000, 300, 20_000
MOST_MIB = 600
NETWORKS = {  # riders, products each rider chooses from, allowed ratios of arrays and of the command
    "no repeats": (STUDIES, PRODUCTS, 120, 4),
    "repeats, of all 300 products": (REPEATERS, PRODUCTS, 1500, 8),
    "repeats, of 31 own products": (REPEATERS, 31, 1500, 8),
    "repeats, of 10 own products": (REPEATERS, 10, 1500, 8),
}


def network(riders: int, own: int, share: float = 1.0) -> Arms:
    """Studies of two arms and more, sorted; a rider's products lie 7 apart from a start of his own."""
    rng = np.random.default_rng(7)
    studies, arms, riders = int(STUDIES * share), int(ARMS * share), int(riders * share)
    size = 2 + np.bincount(rng.integers(0, studies, arms - 2 * studies), minlength=studies)
    study = np.repeat(np.arange(studies), size)
    rider = np.arange(studies) % riders
    product = np.empty(arms, np.int64)
    start = np.cumsum(size) - size
    for k in np.unique(size):
        chosen = np.flatnonzero(size == k)
        places = rng.integers(0, own, (chosen.size, k))
        while (again := (np.diff(np.sort(places, axis=1), axis=1) == 0).any(axis=1)).any():
            places[again] = rng.integers(0, own, (int(again.sum()), k))
        product[start[chosen][:, None] + np.arange(k)] = (7 * places + 13 * rider[chosen][:, None]) % PRODUCTS
    error = rng.uniform(0.0005, 0.003, arms)
    cell, departure = np.unique(rider[study] * PRODUCTS + product, return_inverse=True)
    values = rng.normal(0.3, 0.02, studies)[study] + rng.normal(0, 0.004, PRODUCTS)[product]
    values += rng.normal(0, 0.002 / 2**0.5, cell.size)[departure] + rng.normal(0, error)
    return Arms(study, rider[study], product, values, error, tuple(f"p{k}" for k in range(PRODUCTS)))


def seconds(work: Callable[[], object], times: int) -> float:
    """The best of some calls."""
    best = float("inf")
    for _ in range(times):
        began = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - began)
    return best


def arrays(arms: Arms) -> float:
    """Ratio of the fit to one bincount."""
    yardsticks, ours = [], []
    for _ in range(3):
        yardsticks.append(seconds(lambda: np.bincount(arms.study), 10))
        ours.append(seconds(lambda: fit(arms, 0), 1))
    print(f"  arrays  {min(ours) * 1e3:8.1f} ms, bincount {min(yardsticks) * 1e3:.2f} ms", end="")
    return min(ours) / min(yardsticks)


def command(arms: Arms, folder: Path) -> float:
    """Ratio of the whole command to a process that only reads the file."""
    path = folder / "arms.csv"
    names = {"study": arms.study, "rider": arms.rider, "product": arms.product}
    columns = {key: pa.array(np.char.add(key[0], codes.astype(str))) for key, codes in names.items()}
    csv.write_csv(pa.table(columns | {"cda_m2": arms.value_m2, "se_m2": arms.se_m2}), path)
    reads = [sys.executable, "-c", f"from pyarrow import csv; csv.read_csv({str(path)!r})"]
    pools = [sys.executable, "-m", "analysis", "pool", str(path), "--reference", "p0"]
    yardsticks, ours = [], []
    for _ in range(5):
        yardsticks.append(seconds(lambda: subprocess.run(reads, check=True, cwd=ROOT), 1))
        ours.append(seconds(lambda: subprocess.run(pools, check=True, cwd=ROOT, stdout=subprocess.DEVNULL), 1))
    print(f"  command {min(ours) * 1e3:8.1f} ms, reading  {min(yardsticks) * 1e3:.0f} ms", end="")
    return min(ours) / min(yardsticks)


def told(ratio: float, allowed: float) -> bool:
    """Print a ratio and say whether it is kept."""
    print(f", ratio {ratio:.1f} (at most {allowed:g}){'' if ratio <= allowed else '  MISSED'}")
    return ratio <= allowed


def main() -> int:
    kept = []
    for name, (riders, own, most_arrays, most_command) in NETWORKS.items():
        print(name)
        arms = network(riders, own)
        kept.append(told(arrays(arms), most_arrays))
        with tempfile.TemporaryDirectory() as folder:
            kept.append(told(command(arms, Path(folder)), most_command))
    quarter, whole = (network(STUDIES, PRODUCTS, share) for share in (0.25, 1.0))
    longer = seconds(lambda: fit(whole, 0), 3) / seconds(lambda: fit(quarter, 0), 3)
    print(f"four times the arms take {longer:.1f} times as long")
    children = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"the largest command took {children:.0f} MiB (at most {MOST_MIB})")
    return 0 if all(kept) and children < MOST_MIB else 1


if __name__ == "__main__":
    sys.exit(main())

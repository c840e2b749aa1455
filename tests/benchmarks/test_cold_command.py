"""A whole session by the command line, from a cold start: beside the import of what any such program needs."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from tests.benchmarks.days import bundle_folder

ROOT = Path(__file__).parents[2]
LIBRARIES = "import numpy, scipy.linalg, scipy.special"
ALLOWED = 1.6
# as a fitter's shell has it: without what tests/environment.py sets, and compiled modules are kept from the first start
SET_FOR_TESTS = {"OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "PYTHONDONTWRITEBYTECODE"}
SHELL = {name: value for name, value in os.environ.items() if name not in SET_FOR_TESTS}


def python(*arguments: str) -> None:
    subprocess.run([sys.executable, *arguments], cwd=ROOT, env=SHELL, stdout=subprocess.DEVNULL, check=True)


def test_a_session_of_eight_runs(beside, tmp_path):
    folder = str(bundle_folder(tmp_path))
    beside(
        "python -m analysis session, cold",
        lambda: python("-m", "analysis", "session", folder),
        lambda: python("-c", LIBRARIES),
        against="import of numpy, scipy",
        allowed=ALLOWED,
        rounds=20,
    )

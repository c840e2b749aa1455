"""Reading the published tables that the core is checked against, and computing what is long once."""

import fcntl
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import numpy as np
import pytest

T = TypeVar("T")
Once = Callable[[str, Callable[[], T]], T]
REFERENCES = Path(__file__).parents[2] / "references"


@pytest.fixture(scope="session")
def reference_table():
    """A table of tests/references as a record array; its first line names the source."""
    return lambda name: np.genfromtxt(
        REFERENCES / f"{name}.csv", delimiter=",", names=True, comments="#", skip_header=1
    )


@pytest.fixture(scope="session")
def reference_text_table():
    """The same with columns of words."""
    return lambda name: np.genfromtxt(
        REFERENCES / f"{name}.csv", delimiter=",", names=True, comments="#", skip_header=1, dtype=None, encoding="utf-8"
    )


@pytest.fixture(scope="session")
def once(tmp_path_factory, worker_id):
    """Compute by name once in a run: of several workers the others wait for the first and read what it kept."""

    def compute(name, work):
        if worker_id == "master":
            return work()
        kept = tmp_path_factory.getbasetemp().parent / f"{name}.pickle"
        with kept.with_suffix(".lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            if not kept.exists():
                kept.write_bytes(pickle.dumps(work()))
            return pickle.loads(kept.read_bytes())

    return compute

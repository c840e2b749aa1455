"""Reading the published tables that the core is checked against."""

from pathlib import Path

import numpy as np
import pytest

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

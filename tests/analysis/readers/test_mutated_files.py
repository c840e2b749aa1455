"""500 seeded mutations of every kind of file: read or refused, never an accident (more: tests/load/fuzz_readers.py)."""

from collections import Counter

import pytest

from tests.analysis.readers.mutations import SOUND, mutated, outcome

EACH = {"fit": 100, "tcx": 100, "gpx": 100, "csv": 80, "zip": 80, "gz": 40}


@pytest.mark.parametrize("kind", SOUND)
def test_a_mutated_file_is_read_or_refused(kind, tmp_path):
    counts = Counter(outcome(kind, mutated(kind, f"suite {at}"), tmp_path) for at in range(EACH[kind]))
    assert counts.total() == EACH[kind]
    assert counts["refused"] > 0  # the mutations reach something
    assert outcome(kind, SOUND[kind], tmp_path) == "read"

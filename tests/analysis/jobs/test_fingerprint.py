"""The fingerprint of what went into an analysis."""

from analysis.jobs.inputs import inputs_sha256


def fingerprint(height_cm, sums=None):
    document = {"rider": {"height_cm": height_cm}, "runs": [{"recording": "run-01.csv"}]}
    return inputs_sha256(document, sums or {"run-01.csv": "a" * 64})


def test_a_number_is_one_number_however_it_was_written():
    assert fingerprint(178) == fingerprint(178.0)


def test_another_number_or_another_file_is_another_fingerprint():
    assert len({fingerprint(178), fingerprint(179), fingerprint(178, {"run-01.csv": "b" * 64})}) == 3

"""A seeded share of `tests/load/schema_rounds.py`: some operations of the document, over HTTP, by every role."""

import json
import random
from pathlib import Path

import pytest

from tests.load.schema_rounds import ROLES, one_round

pytestmark = pytest.mark.processes

DOCUMENT = Path(__file__).parents[1] / "references" / "openapi.json"
SEED, SHARE = 7, 3


def share_of(role):
    """Some operations for each role, the same at every run."""
    paths = json.loads(DOCUMENT.read_text())["paths"].values()
    ids = sorted(said["operationId"] for item in paths for said in item.values())
    ids.remove("tokens_destroy")
    return [f"--include-operation-id={name}" for name in random.Random(f"{SEED} {role}").sample(ids, SHARE)]


def test_every_answer_is_one_that_the_document_allows(demo):
    options = ["--phases=fuzzing", "--max-examples=4", "--no-shrink", f"--seed={SEED}"]
    for role in ROLES:
        status, words = one_round(demo, role, *share_of(role), *options)
        assert status == 0, f"{role}: {words}"

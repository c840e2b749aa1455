"""A seeded share of `tests/load/schema_rounds.py`: some operations of the document, over HTTP, by every role."""

import json
import random
from concurrent.futures import ThreadPoolExecutor
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


@pytest.mark.parametrize("roles", [("fitter",), pytest.param(ROLES, marks=pytest.mark.rounds)], ids=["one", "all"])
def test_every_answer_is_one_that_the_document_allows(idle, roles):
    options = ["--phases=fuzzing", "--max-examples=3", "--no-shrink", f"--seed={SEED}"]
    tokens = {role: idle.sign_in(role) for role in roles}
    with ThreadPoolExecutor(2) as pool:
        rounds = pool.map(lambda role: one_round(idle, tokens[role], *share_of(role), *options), roles)
        for role, (status, words) in zip(roles, rounds, strict=True):
            assert status == 0, f"{role}: {words}"

"""`python -m analysis yardstick`: lines as they come, and going on where an earlier run stopped."""

import json
import subprocess
import sys

import pytest

from analysis.yardstick import kept_scores, main, options


def command(*arguments: str) -> subprocess.CompletedProcess[str]:
    line = [sys.executable, "-m", "analysis", "yardstick", *arguments]
    return subprocess.run(line, capture_output=True, text=True, timeout=120, check=True)


@pytest.fixture(scope="module")
def played(tmp_path_factory):
    """Two short sessions through the real command, and the file that kept them."""
    kept = tmp_path_factory.mktemp("yardstick") / "scores.jsonl"
    done = command("--scenario", "four-runs", "--sessions", "2", "--seed", "3", "--workers", "1", "--keep", str(kept))
    return done.stdout, kept


def test_the_command_prints_a_line_a_scenario_and_its_shares(played):
    printed, _ = played
    assert "| four-runs | 2 |" in printed
    assert "four-runs: coverage" in printed
    assert "verdicts:" in printed


def test_it_goes_on_where_it_stopped(played, capsys):
    printed, kept = played
    before = kept.read_text()
    assert (
        main(["--scenario", "four-runs", "--sessions", "2", "--seed", "3", "--workers", "1", "--keep", str(kept)]) == 0
    )
    assert kept.read_text() == before
    assert capsys.readouterr().out == printed


def test_scores_of_another_seed_are_not_taken(played):
    key = {"scenario": "four-runs", "looks": "end"}
    assert sorted(kept_scores(played[1], {**key, "seed": 3})) == [0, 1]
    assert kept_scores(played[1], {**key, "seed": 4}) == {}


def test_a_line_is_plain_json(played):
    entry = json.loads(played[1].read_text().splitlines()[0])
    assert entry["score"]["compared"][0]["verdict"] in {"faster", "slower", "equivalent", "undecided", "invalid"}


def test_every_scenario_runs_unless_one_is_named():
    assert options([]).scenario is None
    assert options(["--looks", "every-run"]).looks == "every-run"
    with pytest.raises(SystemExit, match="2"):
        options(["--scenario", "unheard-of"])

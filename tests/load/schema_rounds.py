"""The API against its own document, over HTTP, by every role: python tests/load/schema_rounds.py --minutes 20 --seed 1

A demo studio on loopback, and schemathesis with all its checks: no 5xx, every answer conforms, what the document allows
is not refused for its shape and what it forbids is refused. Not done: revoking tokens, which would end the round's own.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from tests.faults.living_studio import LivingStudio  # noqa: E402

ROLES = ("owner", "fitter", "client", "shop")
RULES = Path(__file__).with_name("schemathesis.toml")


def one_round(studio: LivingStudio, token: str, *options: str) -> tuple[int, str]:
    """Exit status and words of schemathesis as whoever has the token."""
    base = f"http://127.0.0.1:{studio.port}/api/v1"
    command = [sys.executable, "-m", "schemathesis.cli", "--config-file", str(RULES), "run", f"{base}/schema/"]
    command += ["--header", f"Authorization: Bearer {token}", "--checks", "all", "--mode", "all"]
    command += ["--exclude-operation-id", "tokens_destroy", "--continue-on-failure", *options]
    environment = os.environ | {"PYTHONWARNINGS": "ignore", "NO_COLOR": "1"}
    with tempfile.TemporaryDirectory() as folder:  # where it would leave its own files
        done = subprocess.run(
            command, cwd=folder, env=environment, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL
        )
    return done.returncode, done.stdout + done.stderr


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=20.0)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    seconds = max(1, round(given.minutes * 60 / len(ROLES)))
    worst = 0
    with tempfile.TemporaryDirectory() as folder:
        studio = LivingStudio(Path(folder))
        try:
            studio.start("--demo")
            for role in ROLES:
                status, words = one_round(
                    studio, studio.sign_in(role), "--max-time", str(seconds), "--seed", str(given.seed)
                )
                print(f"== {role}\n{words}" if status else f"== {role}: {words.strip().splitlines()[-1].strip('= ')}")
                worst = max(worst, status)
        finally:
            studio.stop()
    return worst


if __name__ == "__main__":
    sys.exit(main())

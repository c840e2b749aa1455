"""What a page of 50 rows costs: python tests/load/list_benchmark.py

The list of runs by token and cursor, over HTTP from the studio's own server, against a bare `values()` view of the same
rows from the same server in the same seconds, in turns. At least 0.4 of its rate is the mark; exits 1 below it.
"""

from __future__ import annotations

import http.client
import json
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.faults.living_studio import LivingStudio, wait_for

LAST = "ffffffff-ffff-ffff-ffff-ffffffffffff"  # beyond every id: the page is the newest
SHARE, TURNS, REQUESTS, ROWS = 0.4, 9, 60, 50


def seconds_each(port: int, path: str, token: str) -> float:
    """Mean time of an answer over one kept connection."""
    connection = http.client.HTTPConnection("127.0.0.1", port)
    headers = {"Authorization": f"Bearer {token}"}
    began = time.perf_counter()
    for _ in range(REQUESTS):
        connection.request("GET", path, headers=headers)
        answer = connection.getresponse()
        body = answer.read()
        if answer.status != 200:
            raise SystemExit(f"{path} gave {answer.status}: {body[:200]!r}")
    spent = time.perf_counter() - began
    connection.close()
    rows = len(json.loads(body)["results"])
    if rows != ROWS:
        raise SystemExit(f"{path} gave {rows} rows, not {ROWS}")
    return spent / REQUESTS


def main() -> int:
    with tempfile.TemporaryDirectory() as folder:
        studio = LivingStudio(Path(folder), DJANGO_SETTINGS_MODULE="tests.load.bare_settings")
        try:
            studio.start("--demo")
            studio.sign_in()
            wait_for("the demo", lambda: not studio.ask("/api/v1/jobs/?state=queued")[1]["results"], 300)
            wait_for("the demo", lambda: not studio.ask("/api/v1/jobs/?state=running")[1]["results"], 300)
            paths = ("/bare/", f"/api/v1/runs/?cursor=after-{LAST}")
            turns = [[seconds_each(studio.port, path, studio.token) for path in paths] for _ in range(TURNS)]
        finally:
            studio.stop()
    bare, ours = (statistics.median(times) for times in zip(*turns[1:], strict=True))
    share = statistics.median(bare / ours for bare, ours in turns[1:])
    print(f"bare {1 / bare:.0f}/s, list {1 / ours:.0f}/s: {share:.2f} of the rate, {SHARE} allowed")
    return int(share < SHARE)


if __name__ == "__main__":
    sys.exit(main())

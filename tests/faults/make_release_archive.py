"""Make the small archive that a release leaves behind, once, when it is released: it must restore for ever.

`python tests/faults/make_release_archive.py tests/references/releases/0.1.0-sqlite.zip`, and once more with
DATABASE_URL and REDIS_URL for PostgreSQL. What is in it is invented: an owner, two runs of a simulated day, its
analysis and a report.
"""

import json
import os
import sys
import tempfile
from pathlib import Path

from tests.faults.kill_rounds import small_day
from tests.faults.living_studio import PASSWORD, LivingStudio

TITLE = "A small day"
VARIABLES = {
    "OWNER_PASSWORD": PASSWORD,
    "SECRET_KEY": "no secret, and so in no archive: only for this one run",
    **{name: os.environ[name] for name in ("DATABASE_URL", "REDIS_URL") if name in os.environ},
}


def fill(studio):
    """An owner, a session with its analysis, and a report."""
    status, said = studio.manage("createowner", "--username", "owner", "--studio", "Saltmarsh")
    assert status == 0, said
    studio.start()
    studio.sign_in("owner")
    document, files = small_day(TITLE)
    document["runs"] = document["runs"][:2]
    job = studio.ended_job(
        studio.upload(document, {run["recording"]: files[run["recording"]] for run in document["runs"]})
    )
    assert job["state"] == "done", job
    body = json.dumps({"analysis": job["result"]["analysis"]}).encode()
    status, asked = studio.ask("/api/v1/reports/", body=body)
    assert status == 202, asked
    assert studio.ended_job(asked["id"])["state"] == "done"


def main():
    target = Path(sys.argv[1]).absolute()
    target.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        studio = LivingStudio(Path(folder), **VARIABLES)
        try:
            fill(studio)
            sys.stdout.write(studio.manage("backup", target)[1])
        finally:
            studio.stop()


if __name__ == "__main__":
    sys.exit(main())

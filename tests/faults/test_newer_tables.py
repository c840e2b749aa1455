"""An older release on a newer release's tables does not start, whichever process it is, and says what to do."""

import os
import sqlite3
import subprocess
import sys

import pytest

from tests.faults.living_studio import ROOT, free_port

pytestmark = pytest.mark.processes

SENTENCE = "tables of this studio are newer than release"
SERVER = ["-m", "gunicorn", "-c", "python:studio.config.web_server", "--bind"]
WORKER = ["-m", "celery", "--quiet", "-A", "studio.config", "worker", "-c", "1", "--without-mingle", "--without-gossip"]


@pytest.fixture
def newer(tmp_path):
    """A data folder whose database names a migration that nobody has written yet."""
    for part in ("in", "control"):
        (tmp_path / "queue" / part).mkdir(parents=True)
    database = sqlite3.connect(tmp_path / "studio.sqlite3")
    database.execute("CREATE TABLE django_migrations (id INTEGER PRIMARY KEY, app TEXT, name TEXT, applied TEXT)")
    database.execute("INSERT INTO django_migrations VALUES (1, 'records', '9999_of_a_later_release', '2031-01-01')")
    database.commit()
    database.close()
    return tmp_path


def begun(newer, command):
    """How the process ends by itself, and its words."""
    own = {key: value for key, value in os.environ.items() if not key.endswith("_URL")}
    environment = own | {"STUDIO_DATA": str(newer)}
    done = subprocess.run(
        [sys.executable, *command], cwd=ROOT, env=environment, capture_output=True, text=True, timeout=40, check=False
    )
    return done.returncode, done.stdout + done.stderr


OTHERS = [pytest.param(name, marks=pytest.mark.rounds) for name in ("web server", "worker", "createowner")]


@pytest.mark.parametrize("process", ["runstudio", *OTHERS])
def test_no_process_starts_on_newer_tables_and_each_says_why(newer, process):
    port = str(free_port())
    command = {
        "runstudio": ["manage.py", "runstudio", "--port", port, "--data", str(newer)],
        "web server": [*SERVER, f"127.0.0.1:{port}"],
        "worker": WORKER,
        "createowner": ["manage.py", "createowner", "--username", "ada", "--password-file", str(newer / "password")],
    }[process]
    (newer / "password").write_text("a long enough one\n", encoding="utf-8")
    status, words = begun(newer, command)
    assert status not in {0, None}
    assert SENTENCE in words
    assert "records.9999_of_a_later_release" in words
    assert "Traceback" not in words

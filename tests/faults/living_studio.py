"""A real studio for the fault tests: `manage.py runstudio` on a folder and a port of its own, asked over HTTP."""

import http.client
import io
import json
import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.request
import uuid
from contextlib import closing
from pathlib import Path

from analysis.readers.bundle import write_bundle

ROOT = Path(__file__).resolve().parent.parent.parent
PATIENCE_S = 60.0
OF_THE_TESTS = ("STUDIO_", "PUBLIC_URL", "SECRET_KEY", "DJANGO_SETTINGS_MODULE", "DATABASE_URL", "REDIS_URL")
PASSWORD = "windledger"  # noqa: S105 - the demo's


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_for(what, question, patience_s=PATIENCE_S):
    """Ask until the answer is true; gives the answer."""
    give_up = time.monotonic() + patience_s
    while time.monotonic() < give_up:
        if answer := question():
            return answer
        time.sleep(0.05)
    raise AssertionError(f"waited {patience_s:.0f} s in vain for {what}")


def process_is_gone(pid):
    """Whether a process has ended; a zombie has."""
    try:
        return Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()[0] == "Z"
    except FileNotFoundError:
        return True


def children_of(pid):
    """Process numbers of a process's children."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            parent = stat.read_text(encoding="utf-8").rpartition(")")[2].split()[1]
        except (FileNotFoundError, ProcessLookupError):
            continue
        if int(parent) == pid:
            found.append(int(stat.parent.name))
    return found


class LivingStudio:
    """Started with `start`; `stop` leaves no process behind, whatever a test did to it."""

    def __init__(self, folder, **variables):
        self.variables = variables
        folder.mkdir(exist_ok=True)
        self.data = folder / "studio"
        self.port = free_port()
        self.output = folder / "runstudio.out"
        self.process = None
        self.token = ""

    def start(self, *options):
        self.process = self.spawn("--port", str(self.port), *options)
        wait_for("the first page", self.answers)
        return self

    def environment(self):
        """The variables of this studio's processes: none of the tests' own."""
        return {key: value for key, value in os.environ.items() if not key.startswith(OF_THE_TESTS)} | self.variables

    def spawn(self, *options):
        """A `runstudio` on this folder, started and not waited for."""
        command = [sys.executable, "manage.py", "runstudio", "--data", str(self.data), *options]
        with self.output.open("ab") as out:
            return subprocess.Popen(
                command, cwd=ROOT, env=self.environment(), stdin=subprocess.DEVNULL, stdout=out, stderr=out
            )

    def manage(self, command, *arguments):
        """Run another command on this folder to its end; gives its exit status and what it said."""
        line = [sys.executable, "manage.py", command, *map(str, arguments), "--data", str(self.data)]
        done = subprocess.run(line, cwd=ROOT, env=self.environment(), capture_output=True, text=True, check=False)
        return done.returncode, done.stdout + done.stderr

    def answers(self):
        if self.process.poll() is not None:
            raise AssertionError(f"runstudio ended: {self.said()}")
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", self.port)):
                return False
        return self.ask("/live/")[0] == 200

    def said(self):
        return self.output.read_text(encoding="utf-8")

    def pid(self, name):
        return int((self.data / f"{name}.pid").read_text(encoding="ascii"))

    def pids(self):
        """runstudio, web server and worker with all their children."""
        parents = [self.process.pid, self.pid("web"), self.pid("worker")]
        return [*parents, *children_of(parents[1]), *children_of(parents[2])]

    def kill(self, pid):
        os.kill(pid, signal.SIGKILL)

    def stop(self):
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            try:
                self.process.wait(30)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()

    def ask(self, path, *, body=None, content_type="application/json"):
        """Status and JSON of an answer."""
        headers = {"Content-Type": content_type}
        if self.token:
            headers["Authorization"] = f"Bearer {self.token}"
        request = urllib.request.Request(f"http://127.0.0.1:{self.port}{path}", data=body, headers=headers)
        try:
            with urllib.request.urlopen(request, timeout=PATIENCE_S) as answer:
                return answer.status, json.load(answer)
        except urllib.error.HTTPError as refusal:
            with refusal:
                return refusal.code, json.load(refusal)
        except (urllib.error.URLError, ConnectionError, http.client.HTTPException):
            return 0, None  # the server went away, before or within its answer

    def sign_in(self, username="fitter"):
        credentials = json.dumps({"username": username, "password": PASSWORD}).encode()
        self.token = ""  # the last one may be revoked by now
        status, answer = self.ask("/api/v1/tokens/", body=credentials)
        assert status == 201, answer
        self.token = answer["token"]
        return self.token

    def upload(self, document, files):
        """Post a bundle; gives the job's id."""
        archive = io.BytesIO()
        write_bundle(document, files, archive)
        boundary = uuid.uuid4().hex
        head = f'--{boundary}\r\nContent-Disposition: form-data; name="bundle"; filename="day.zip"\r\n\r\n'
        body = head.encode() + archive.getvalue() + f"\r\n--{boundary}--\r\n".encode()
        status, job = self.ask("/api/v1/bundles/", body=body, content_type=f"multipart/form-data; boundary={boundary}")
        assert status == 202, job
        return job["id"]

    def forget_waiting_jobs(self):
        """Take away what the demo asked for and nobody has begun."""
        with closing(sqlite3.connect(self.data / "studio.sqlite3", timeout=PATIENCE_S)) as database, database:
            database.execute("DELETE FROM results_job WHERE state = 'queued'")

    def job(self, job_id):
        return self.ask(f"/api/v1/jobs/{job_id}/")[1]

    def ended_job(self, job_id, patience_s=PATIENCE_S):
        """The job once it has ended."""

        def ended():
            job = self.job(job_id)
            return job if job and job["state"] in {"done", "refused", "failed"} else None

        return wait_for(f"the end of job {job_id}", ended, patience_s)

    def analyses_of(self, session_id):
        return self.ask(f"/api/v1/analyses/?session={session_id}")[1]["results"]

    def sessions_called(self, title):
        found, path = [], "/api/v1/sessions/"
        while path:
            page = self.ask(path)[1]
            found += [session for session in page["results"] if session["title"] == title]
            path = page["next"] and page["next"].partition(str(self.port))[2]
        return found

"""Rates of lists and uploads beside bare views: python tests/load/doors_benchmark.py [--rounds 7]

One real web server (gunicorn as `runstudio` starts it) on one SQLite database answers both sides, in turn, over one
kept connection; the best round of each counts. A list of 50 rows with a cursor must reach 0.4 of the rate of a view
that gives `values()`, an upload of 1 MB half the rate of a view that only hashes. Exits 1 where one is missed.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import secrets
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

LIST_SHARE, UPLOAD_SHARE = 0.4, 0.5
ROWS, REQUESTS, UPLOADS = 120, 60, 25
MB = 1_000_000
FILL = """
import django
django.setup()
from tests.factories import MembershipFactory, StudioFactory
from tests.studio.api.rows import LISTED, make_rows, more_rows
from studio.records.services.tokens import token_create
studio = StudioFactory()
bo = MembershipFactory(studio=studio).user
rows = make_rows(studio, MembershipFactory(studio=studio, role="client").user)
for route in LISTED:
    more_rows(route, rows, {count})
models = {{route: f"{{row._meta.app_label}}/{{row._meta.model_name}}" for route, row in rows.items()}}
import json
print(json.dumps([token_create(user=bo)[1], str(rows["sessions"].pk), models]))
"""


class Server:
    """A web server on a database of its own, filled with rows of every kind."""

    def __init__(self, folder: Path) -> None:
        self.environment = {
            **{key: value for key, value in os.environ.items() if not key.endswith("_URL")},
            "STUDIO_DATA": str(folder),
            "DJANGO_SETTINGS_MODULE": "studio.config.settings",
            "PYTHONPATH": str(ROOT),
        }
        for part in ("in", "control"):
            (folder / "queue" / part).mkdir(parents=True)  # as `runstudio` does; nobody is woken here
        self.run([sys.executable, "manage.py", "migrate", "--no-input", "--verbosity", "0"])
        told = self.run([sys.executable, "-c", FILL.format(count=ROWS)]).splitlines()[-1]
        self.token, self.session, self.models = json.loads(told)
        self.port = 20_000 + secrets.randbelow(20_000)
        command = [sys.executable, "-m", "gunicorn", "-c", "python:studio.config.web_server", "--bind"]
        self.log = folder / "web.log"
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(
                [*command, f"127.0.0.1:{self.port}", "tests.load.bare_doors"],
                cwd=ROOT, env=self.environment, stdout=log, stderr=log,
            )  # fmt: skip
        self.await_answer()

    def run(self, command: list[str]) -> str:
        done = subprocess.run(command, cwd=ROOT, env=self.environment, capture_output=True, text=True, check=False)
        if done.returncode:
            raise SystemExit(done.stderr)
        return done.stdout

    def await_answer(self) -> None:
        for _ in range(300):
            try:
                urllib.request.urlopen(f"http://127.0.0.1:{self.port}/live/", timeout=5).close()
            except OSError:
                time.sleep(0.1)
            else:
                return
        raise SystemExit("the web server does not start: " + self.log.read_text(encoding="utf-8")[-2000:])

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(20)


class Caller:
    """One kept connection."""

    def __init__(self, server: Server) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=30)
        self.server = server

    def ask(self, path: str, *, body: bytes | None = None, kind: str = "", status: int = 200) -> bytes:
        headers = {"Authorization": f"Bearer {self.server.token}", **({"Content-Type": kind} if kind else {})}
        self.connection.request("POST" if body else "GET", path, body=body, headers=headers)
        answer = self.connection.getresponse()
        said = answer.read()
        if answer.status != status:
            raise SystemExit(f"{path}: {answer.status} {said[:300]!r}")
        return said


def rate(work: Callable[[], object], times: int) -> float:
    """Calls a second."""
    began = time.perf_counter()
    for _ in range(times):
        work()
    return times / (time.perf_counter() - began)


def beside(name: str, ours: Callable[[], object], bare: Callable[[], object], *, times: int, rounds: int) -> float:
    """Print and return our best rate over the bare view's, measured in turn."""
    ours(), bare()
    rates = [(rate(ours, times), rate(bare, times)) for _ in range(rounds)]
    mine, theirs = (max(side) for side in zip(*rates, strict=True))
    print(f"{name:28} {mine:7.0f} a second   bare {theirs:7.0f}   ratio {mine / theirs:.2f}", flush=True)
    return mine / theirs


def form(name: str, content: bytes, session: str) -> bytes:
    """A multipart body of a recording."""
    parts = [b'--x\r\nContent-Disposition: form-data; name="session"\r\n\r\n' + session.encode()]
    parts.append(f'--x\r\nContent-Disposition: form-data; name="file"; filename="{name}"\r\n\r\n'.encode() + content)
    return b"\r\n".join([*parts, b"--x--\r\n"])


def lists(server: Server, caller: Caller, rounds: int) -> list[float]:
    """Each kind of list, on its second page."""
    found = []
    for route, model in server.models.items():
        if route in {"mappings"}:
            continue  # its rows are worked out from rules, not read
        page = json.loads(caller.ask(f"/api/v1/{route}/"))["next"].partition(f":{server.port}")[2]
        ours, bare = (lambda page=page: caller.ask(page)), (lambda model=model: caller.ask(f"/bare/{model}/"))
        found.append(beside(f"list of {route}", ours, bare, times=REQUESTS, rounds=rounds))
    return found


def uploads(server: Server, caller: Caller, rounds: int) -> float:
    """Files of 1 MB, each with bytes and a name of its own."""
    kind = "multipart/form-data; boundary=x"
    filling = os.urandom(MB // 2).hex().encode()

    def body() -> bytes:
        name = secrets.token_hex(8)
        return form(f"{name}.csv", name.encode() + filling[16:], server.session)

    def ours() -> None:
        caller.ask("/api/v1/recordings/", body=body(), kind=kind, status=201)

    def bare() -> None:
        caller.ask("/bare/hash/", body=body(), kind=kind, status=201)

    return beside("upload of 1 MB", ours, bare, times=UPLOADS, rounds=rounds)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=7)
    rounds = parser.parse_args().rounds
    with tempfile.TemporaryDirectory() as folder:
        server = Server(Path(folder))
        try:
            caller = Caller(server)
            upload = uploads(server, caller, rounds)
            worst = 1.0
        finally:
            server.stop()
    print(f"lists {worst:.2f} at the least (asked {LIST_SHARE}), uploads {upload:.2f} (asked {UPLOAD_SHARE})")
    return 0 if worst >= LIST_SHARE and upload >= UPLOAD_SHARE else 1


if __name__ == "__main__":
    sys.exit(main())

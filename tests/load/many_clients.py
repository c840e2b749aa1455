"""200 clients at the embedded set-up: python tests/load/many_clients.py [--clients 200] [--seconds 120] [--seed 1]

A real `runstudio` with its worker, asked over HTTP: every client reads lists and rows and uploads recordings, one in
five requests, without a pause. First one client alone (the idle figures), then all. Afterwards every upload that was
acknowledged must be there: its row, its bytes under their SHA-256, and read by its job. Exits 1 on any error or loss.
"""

from __future__ import annotations

import argparse
import hashlib
import http.client
import json
import random
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.faults.living_studio import LivingStudio, wait_for
from tests.load.doors_benchmark import form

LISTS = ("sessions", "runs", "recordings", "riders", "setups", "jobs", "analyses", "products")
UPLOAD_SHARE = 0.2
IDLE_S = 15
DRAIN_S = 900
FORM = "multipart/form-data; boundary=x"
HEAD = b"time,power_w,speed_mps\n"


@dataclass
class Told:
    """What the clients saw."""

    reads: list[float] = field(default_factory=list)
    uploads: list[float] = field(default_factory=list)
    kept: dict[str, str] = field(default_factory=dict)  # id of the recording to SHA-256
    errors: list[str] = field(default_factory=list)


class Client(threading.Thread):
    """One caller with a connection of its own."""

    def __init__(self, studio: LivingStudio, sessions: list[str], name: str, until: float, told: Told) -> None:
        super().__init__(name=name, daemon=True)
        self.studio, self.sessions, self.until, self.told = studio, sessions, until, told
        self.chance = random.Random(name)
        self.connection = http.client.HTTPConnection("127.0.0.1", studio.port, timeout=60)

    def run(self) -> None:
        number = 0
        while time.monotonic() < self.until:
            number += 1
            began = time.monotonic()
            try:
                uploading = self.chance.random() < UPLOAD_SHARE
                self.upload(number) if uploading else self.read()
            except (OSError, http.client.HTTPException, AssertionError) as error:
                self.told.errors.append(f"{self.name}: {type(error).__name__} {error}")
                self.connection.close()
            else:
                (self.told.uploads if uploading else self.told.reads).append(time.monotonic() - began)

    def ask(self, path: str, body: bytes | None = None) -> dict:
        headers = {"Authorization": f"Bearer {self.studio.token}", "Content-Type": FORM if body else ""}
        self.connection.request("POST" if body else "GET", path, body=body, headers=headers)
        answer = self.connection.getresponse()
        said = answer.read()
        assert answer.status == (201 if body else 200), f"{path}: {answer.status} {said[:200]!r}"
        return json.loads(said)

    def read(self) -> None:
        rows = self.ask(f"/api/v1/{(route := self.chance.choice(LISTS))}/")["results"]
        if rows and self.chance.random() < 0.5:
            self.ask(f"/api/v1/{route}/{self.chance.choice(rows)['id']}/")

    def upload(self, number: int) -> None:
        lines = (f"{at},{self.chance.randint(150, 350)},{self.chance.random() * 5 + 8:.3f}\n" for at in range(300))
        content = HEAD + "".join(lines).encode()
        name = f"{self.name}-{number}.csv"
        made = self.ask("/api/v1/recordings/", form(name, content, self.chance.choice(self.sessions)))
        assert made["sha256"] == hashlib.sha256(content).hexdigest(), name
        self.told.kept[made["id"]] = made["sha256"]


def ride(studio: LivingStudio, sessions: list[str], *, count: int, seconds: float, label: str) -> Told:
    """Let clients loose for some time; gives what they saw."""
    told, until = Told(), time.monotonic() + seconds
    clients = [Client(studio, sessions, f"{label}-{number}", until, told) for number in range(count)]
    for client in clients:
        client.start()
    for client in clients:
        client.join()
    return told


def figures(label: str, told: Told, seconds: float) -> None:
    """One line a kind of request: how many a second, and how long they took."""
    for kind, times in (("reads", told.reads), ("uploads", told.uploads)):
        ranked = sorted(times) or [0.0]
        at = {share: ranked[min(int(share * len(ranked)), len(ranked) - 1)] * 1e3 for share in (0.5, 0.95, 0.99)}
        told_of = ", ".join(f"{share:.0%} in {value:.0f} ms" for share, value in at.items())
        print(f"{label:12} {kind:8} {len(times) / seconds:6.1f} a second, {told_of}, longest {ranked[-1] * 1e3:.0f} ms")


def nothing_waits(studio: LivingStudio) -> bool:
    return not any(studio.ask(f"/api/v1/jobs/?state={state}")[1]["results"] for state in ("queued", "running"))


def lost(studio: LivingStudio, kept: dict[str, str]) -> list[str]:
    """What was acknowledged and is not there, or was not read."""
    found = []
    bytes_of = {path.name: path for path in (studio.data / "files").glob("*/*/*")}
    for pk, sha256 in kept.items():
        status, row = studio.ask(f"/api/v1/recordings/{pk}/")
        if status != 200 or row["sha256"] != sha256 or row["state"] != "read":
            found.append(f"recording {pk}: {status} {row and row.get('state')}")
        elif sha256 not in bytes_of or hashlib.sha256(bytes_of[sha256].read_bytes()).hexdigest() != sha256:
            found.append(f"the bytes of recording {pk}")
    return found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=200)
    parser.add_argument("--seconds", type=float, default=120)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        studio = LivingStudio(Path(folder))
        try:
            studio.start("--demo")
            studio.sign_in()
            wait_for("the demo's jobs", lambda: nothing_waits(studio), DRAIN_S)
            sessions = [row["id"] for row in studio.ask("/api/v1/sessions/")[1]["results"]]
            idle = ride(studio, sessions, count=1, seconds=IDLE_S, label=f"idle-{options.seed}")
            wait_for("the idle run's jobs", lambda: nothing_waits(studio), DRAIN_S)
            many = ride(studio, sessions, count=options.clients, seconds=options.seconds, label=f"many-{options.seed}")
            began = time.monotonic()
            wait_for("the uploads to be read", lambda: nothing_waits(studio), DRAIN_S)
            drained = time.monotonic() - began
            missing = lost(studio, idle.kept | many.kept)
        finally:
            studio.stop()
    figures("one client", idle, IDLE_S)
    figures(f"{options.clients} clients", many, options.seconds)
    errors = idle.errors + many.errors
    print(f"{len(many.kept)} uploads acknowledged, all read {drained:.0f} s after the last; ", end="")
    print(f"{len(errors)} errors, {len(missing)} lost")
    for line in [*errors[:10], *missing[:10]]:
        print(f"  {line}")
    return 1 if errors or missing else 0


if __name__ == "__main__":
    sys.exit(main())

"""Keeping the studio's processes alive: the folder's lock, the port, a child with its group, log and back-off.

What is started, and in which order, says the command `runstudio`.
"""

from __future__ import annotations

import fcntl
import os
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import TextIO

from django.db import DatabaseError

FIRST_WAIT_S, LONGEST_WAIT_S = 0.2, 10.0
GOOD_LIFE_S = 5.0
PORT_PATIENCE_S = 2.0
STOP_PATIENCE_S = 15.0
LOG_MOST_BYTES = 5 * 1024 * 1024


class StartRefused(Exception):
    """The studio does not start; the message says why and what to do."""


class FolderLock:
    """One `runstudio` for one data folder. The system frees the lock when the process ends, however it ends."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.file: TextIO | None = None

    def __enter__(self) -> FolderLock:
        self.folder.mkdir(parents=True, exist_ok=True)
        self.file = (self.folder / "studio.lock").open("a+", encoding="utf-8")
        try:
            fcntl.flock(self.file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            self.file.seek(0)
            holder = self.file.read().strip() or "unknown"
            self.file.close()
            raise StartRefused(
                f"A studio already runs on the folder {self.folder} (process {holder}). Stop it with Ctrl-C in its "
                "terminal, or give another folder with --data."
            ) from None
        self.file.truncate(0)
        self.file.write(str(os.getpid()))
        self.file.flush()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.file:
            self.file.close()


def require_free_port(host: str, port: int) -> None:
    """Refuse a busy port. A studio that was killed a moment ago may still be letting go of it: wait a little."""
    give_up = time.monotonic() + PORT_PATIENCE_S
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    while True:
        with socket.socket(family, socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except OSError as error:
                if time.monotonic() > give_up:
                    raise StartRefused(
                        f"Port {port} on {host} cannot be used ({error.strerror}). Stop the program that holds it, "
                        "or give another with --port."
                    ) from None
            else:
                return
        time.sleep(0.1)


class Child:
    """A process in a group of its own, started again with back-off when it ends."""

    def __init__(
        self,
        *,
        name: str,
        command: Sequence[str],
        env: Mapping[str, str],
        folder: Path,
        before_start: Callable[[], object] = lambda: None,
        pass_fds: Sequence[int] = (),
    ) -> None:
        self.name = name
        self.command = list(command)
        self.env = dict(env)
        self.log = folder / f"{name}.log"
        self.pid_file = folder / f"{name}.pid"
        self.before_start = before_start
        self.pass_fds = tuple(pass_fds)
        self.process: subprocess.Popen[bytes] | None = None
        self.started_at = 0.0
        self.start_at = 0.0
        self.wait_s = FIRST_WAIT_S

    def start(self) -> None:
        """Start it now; whatever its predecessor left undone is seen to first."""
        self.before_start()
        if self.log.exists() and self.log.stat().st_size > LOG_MOST_BYTES:
            self.log.replace(self.log.with_suffix(".log.1"))
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                self.command,
                env=self.env,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
                pass_fds=self.pass_fds,
            )
        self.started_at = time.monotonic()
        with suppress(OSError):  # a courtesy to who looks; a full disk must not end what runs
            self.pid_file.write_text(f"{self.process.pid}\n", encoding="ascii")

    def look(self) -> str | None:
        """Start it again if it ended and its wait is over; gives a sentence when it has just ended."""
        now = time.monotonic()
        if self.process is None:
            return self._start_again(now) if now >= self.start_at else None
        code = self.process.poll()
        if code is None:
            return None
        self.kill_group()
        self.process = None
        self.wait_s = FIRST_WAIT_S if now - self.started_at > GOOD_LIFE_S else min(self.wait_s * 2, LONGEST_WAIT_S)
        self.start_at = now + self.wait_s
        return f"The {self.name} process ended ({code}); it starts again in {self.wait_s:.1f} s. Its log: {self.log}"

    def _start_again(self, now: float) -> str | None:
        """A disk without room refuses the start, or the rows that come before it: the other processes go on."""
        try:
            self.start()
        except (OSError, DatabaseError) as error:
            self.wait_s = LONGEST_WAIT_S
            self.start_at = now + self.wait_s
            return f"The {self.name} process cannot be started ({error}); it is tried again in {self.wait_s:.0f} s."
        return None

    def ask_to_stop(self) -> None:
        """SIGTERM: finish what is in hand, take nothing new."""
        if self.process and self.process.poll() is None:
            self.process.terminate()

    def has_stopped(self) -> bool:
        return self.process is None or self.process.poll() is not None

    def kill_group(self) -> None:
        """SIGKILL for the process and everything that it started: children of a dead worker would live on."""
        if self.process:
            try:
                os.killpg(self.process.pid, signal.SIGKILL)
            except ProcessLookupError:
                return
            self.process.wait()

    def forget(self) -> None:
        """Leave no file that names a process which is gone."""
        self.kill_group()
        self.pid_file.unlink(missing_ok=True)


def stop_all(children: Sequence[Child], hurried: Callable[[], bool]) -> None:
    """Ask all to stop, wait, then kill what is left; `hurried` (a second Ctrl-C) ends the wait."""
    for child in children:
        child.ask_to_stop()
    give_up = time.monotonic() + STOP_PATIENCE_S
    while not all(child.has_stopped() for child in children) and time.monotonic() < give_up and not hurried():
        time.sleep(0.05)
    for child in children:
        child.forget()

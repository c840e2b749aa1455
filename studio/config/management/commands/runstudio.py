"""One command that runs the whole studio: database, web server, worker, and the demo where it is asked for."""

from __future__ import annotations

import hashlib
import ipaddress
import os
import shlex
import shutil
import signal
import socket
import sys
import time
import urllib.error
import urllib.request
from argparse import ArgumentParser, ArgumentTypeError
from collections.abc import Sequence
from pathlib import Path
from types import FrameType
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError

from analysis.jobs.demo_studio import PASSWORD, SIGN_INS, DemoRefused, demo_is_here, open_demo
from analysis.results.services.jobs import requeue_jobs_of
from studio.config.orphans import SUPERVISOR_VARIABLE
from studio.config.progress import JobLine
from studio.config.supervisor import Child, FolderLock, StartRefused, require_free_port, stop_all
from studio.config.tables import NewerTables, bring_up_to_date, unusable_database, unusable_folder
from studio.config.web_server import GATE_VARIABLE
from studio.records.models import Studio
from studio.records.store import discard_torn

LOOK_EVERY_S = 0.1
WEB_PATIENCE_S = 30.0


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach what listens on `host`."""
    try:
        return host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


class Command(BaseCommand):
    help = "Run the studio: web server and worker, on one data folder. Ctrl-C stops everything."
    requires_system_checks = []  # they load both doors: a second, and the worker runs them anyway

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--demo", action="store_true", help="load an invented studio and analyse its sessions")
        parser.add_argument("--port", type=port_number, default=8000, help="port of the pages and the API (8000)")
        parser.add_argument("--data", type=Path, help="folder of database, files and queue (.studio)")
        parser.add_argument("--listen", default="127.0.0.1", help="address to listen on (127.0.0.1)")

    def handle(self, *args: Any, **options: Any) -> None:
        self.signals = 0
        host, port, demo = str(options["listen"]), int(options["port"]), bool(options["demo"])
        try:
            self._require_sound(host, demo, options["data"])
            with FolderLock(settings.STUDIO_DATA):
                require_free_port(host, port)
                self._run(host, port, demo)
        except (StartRefused, DemoRefused, NewerTables) as refusal:
            raise CommandError(str(refusal)) from None
        except DatabaseError as error:
            raise CommandError(unusable_database(error)) from error
        except OSError as error:
            raise CommandError(unusable_folder(error)) from error

    def _require_sound(self, host: str, demo: bool, data: Path | None) -> None:
        if data and data.absolute() != settings.STUDIO_DATA:
            raise StartRefused(f"--data {data} came too late: start this command as `python manage.py runstudio ...`.")
        if demo and not is_loopback(host):
            raise StartRefused(
                f"--listen {host} with --demo is refused: the demo's password is printed in the manual. "
                "The demo listens on this machine only (127.0.0.1)."
            )
        if not is_loopback(host) and "PUBLIC_URL" not in os.environ:
            raise StartRefused(
                f"--listen {host} opens the studio to others: set PUBLIC_URL to the address that they type, "
                "such as https://studio.example."
            )

    def _open_data(self, host: str, demo: bool) -> None:
        """Tables and, where asked for, the demo: all there before a page answers."""
        bring_up_to_date()
        if demo:
            open_demo()
        elif not is_loopback(host) and demo_is_here():
            raise StartRefused(
                f"--listen {host} is refused: this folder holds the demo, whose password is printed in the manual."
            )

    def _run(self, host: str, port: int, demo: bool) -> None:
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, self._note_signal)
        make_folders()
        discard_torn()
        gate, open_gate = os.pipe()
        web, worker = web_child(host, port, gate), worker_child()
        try:
            web.start()  # it loads while the tables are made, which takes as long
            self._open_data(host, demo)
            os.close(open_gate)
            self._await_web(web, host, port)
            self._greet(host, port, demo)
            worker.start()
            self._watch([web, worker], demo)
        finally:
            stop_all([web, worker], hurried=lambda: self.signals > 1)
        requeue_jobs_of(worker=worker_name())
        self.stdout.write("Stopped.")

    def _watch(self, children: Sequence[Child], demo: bool) -> None:
        """Keep the children alive and tell how far the jobs are, until a signal comes."""
        line = JobLine(sys.stdout)
        while not self.signals:
            for child in children:
                if sentence := child.look():
                    line.say(sentence)
            if line.look() and demo:
                line.say("The demo is complete.")
                demo = False
            time.sleep(LOOK_EVERY_S)
        line.say("Stopping: the web server and the worker finish what they have in hand (Ctrl-C again: at once).")

    def _note_signal(self, number: int, frame: FrameType | None) -> None:
        self.signals += 1

    def _await_web(self, web: Child, host: str, port: int) -> None:
        """Until the first answer: the worker starts after it, so that the pages are not kept waiting."""
        give_up = time.monotonic() + WEB_PATIENCE_S
        while not self.signals and not answers(host, port):
            if web.has_stopped() or time.monotonic() > give_up:
                raise StartRefused(f"The web server does not start. Its log says why: {web.log}")
            time.sleep(0.05)

    def _greet(self, host: str, port: int, demo: bool) -> None:
        say = self.stdout.write
        say(f"The studio answers at {public_url(host, port)}/ (data: {settings.STUDIO_DATA})")
        if demo:
            say(f"Sign in as {', '.join(SIGN_INS)}; the password is {PASSWORD}.")
        elif not Studio.objects.exists():
            say(f"This studio is empty. Make its first owner in another terminal: {createowner_line()}")
        say("Ctrl-C stops it.")
        self.stdout.flush()


def port_number(text: str) -> int:
    """A port that can be asked for."""
    if not text.isdecimal() or not 1 <= int(text) <= 65535:
        raise ArgumentTypeError(f"{text} is no port; allowed are 1 to 65535")
    return int(text)


def createowner_line() -> str:
    """The command that makes the first owner of this very folder, to be copied into a shell."""
    usual = settings.STUDIO_DATA == settings.BASE_DIR / ".studio"
    data = [] if usual else ["--data", str(settings.STUDIO_DATA)]
    return shlex.join([os.path.relpath(sys.executable), "manage.py", "createowner", *data])


def make_folders() -> None:
    """What web server and worker expect to find."""
    for folder in (settings.FILES_FOLDER, settings.QUEUE_FOLDER / "in", settings.QUEUE_FOLDER / "control"):
        folder.mkdir(parents=True, exist_ok=True)


def public_url(host: str, port: int) -> str:
    """The address that people type."""
    shown = f"[{host}]" if ":" in host else host
    return os.environ.get("PUBLIC_URL", f"http://{shown}:{port}").rstrip("/")


def answers(host: str, port: int) -> bool:
    """Whether the web server is up."""
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
        probe.settimeout(1)
        if probe.connect_ex((host, port)):
            return False
    shown = f"[{host}]" if ":" in host else host
    request = urllib.request.Request(f"http://{shown}:{port}/live/", headers={"Host": "127.0.0.1"})
    try:
        with urllib.request.urlopen(request, timeout=WEB_PATIENCE_S) as answer:
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError):
        return False


def worker_name() -> str:
    """The worker's name: the same after every start on this folder, so that its jobs are known to be lost."""
    folder = hashlib.sha256(str(settings.STUDIO_DATA).encode()).hexdigest()[:8]
    return f"studio-{folder}@{socket.gethostname()}"


def _environment(**extra: str) -> dict[str, str]:
    shared = {
        "STUDIO_DATA": str(settings.STUDIO_DATA),
        SUPERVISOR_VARIABLE: str(os.getpid()),
        "PYTHONPATH": os.pathsep.join(filter(None, [str(settings.BASE_DIR), os.environ.get("PYTHONPATH")])),
    }
    return {**os.environ, **shared, **extra}


def web_child(host: str, port: int, gate: int) -> Child:
    """The web server: one process, many threads. It answers once the other end of `gate` is closed."""
    bind = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
    command = [sys.executable, "-m", "gunicorn", "-c", "python:studio.config.web_server", "--bind", bind]
    env = _environment(PUBLIC_URL=public_url(host, port)) | {GATE_VARIABLE: str(gate)}
    return Child(name="web", command=command, env=env, folder=settings.STUDIO_DATA, pass_fds=[gate])


def worker_child() -> Child:
    """The worker with two children; one thread of linear algebra in each, for there are two of them."""
    options = ["-c", "2", "--without-mingle", "--without-gossip", "--without-heartbeat"]
    scratch = settings.QUEUE_FOLDER / "scratch"

    def tidy() -> None:
        # The broker's own table of queues goes too: torn by a crash, it would end every worker at its start.
        for folder in (scratch, settings.QUEUE_FOLDER / "control"):
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir(parents=True)
        requeue_jobs_of(worker=worker_name())

    return Child(
        name="worker",
        command=[
            sys.executable,
            "-m",
            "celery",
            "--quiet",
            "-A",
            "studio.config",
            "worker",
            "-n",
            worker_name(),
            *options,
        ],
        # The embedded broker takes messages through TMPDIR: on the queue's own disk that is a rename, not a copy.
        env=_environment(TMPDIR=str(scratch), OPENBLAS_NUM_THREADS="1", OMP_NUM_THREADS="1"),
        folder=settings.STUDIO_DATA,
        before_start=tidy,
    )

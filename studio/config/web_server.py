"""How gunicorn serves the studio, under `runstudio` and in the image: `gunicorn -c python:studio.config.web_server`."""

from __future__ import annotations

import gc
import logging.config
import os
import select
import socket
import struct
from typing import Any

from gunicorn.arbiter import Arbiter
from gunicorn.config import Config
from gunicorn.glogging import Logger

from studio.config.logs import LOGGING
from studio.config.orphans import die_with_parent, die_with_supervisor
from studio.config.tables import newer_tables
from studio.config.uploads import sweep_uploads

wsgi_app = "studio.config.wsgi"
GATE_VARIABLE = "STUDIO_GATE"
LOOK_EVERY_S = 0.5
YOUNG_MOST = 20_000
"""New objects between two looks for dead rings; the usual 700 look several times within one answer."""
SILENT_MOST_S = 30
"""For so long a caller may send or take nothing within a request."""

worker_class = "gthread"
workers = 1
threads = 64  # a progress stream holds one; 24 streams leave 40 for requests
control_socket_disable = True


class logger_class(Logger):  # type: ignore[misc] # noqa: N801 - the setting's name
    """Gunicorn's own lines in the studio's form; its access log, which names addresses and paths, stays off."""

    def setup(self, cfg: Config) -> None:
        super().setup(cfg)
        logging.config.dictConfig(LOGGING)

    def warning(self, msg: str, *args: Any, **kwargs: Any) -> None:
        super().warning(
            msg.partition(" from ip=")[0], *args, **kwargs
        )  # its text of a torn request has the address in it


def on_starting(server: Any) -> None:
    die_with_supervisor()
    sweep_uploads()


def when_ready(server: Any) -> None:
    """A phone that lost its network within a request must not keep a thread for ever; what is accepted inherits this.

    The kernel's own timeout, since gunicorn puts the socket back to blocking and with it Python's aside.
    """
    for listener in server.LISTENERS:
        for option in (socket.SO_RCVTIMEO, socket.SO_SNDTIMEO):
            listener.setsockopt(socket.SOL_SOCKET, option, struct.pack("ll", SILENT_MOST_S, 0))


def post_fork(server: Any, worker: Any) -> None:
    die_with_parent(server.pid)


def post_worker_init(worker: Any) -> None:
    """Loaded, but closed until `runstudio` has made the tables: it then closes its end of a pipe.

    Another release's newer tables end the server; only now can the database be asked.
    """
    gate = os.environ.get(GATE_VARIABLE)
    while gate and worker.alive and not select.select([int(gate)], [], [], LOOK_EVERY_S)[0]:
        worker.notify()
    if refusal := newer_tables():
        worker.log.critical(refusal)
        raise SystemExit(Arbiter.WORKER_BOOT_ERROR)
    settle_memory()


def settle_memory() -> None:
    """What is loaded stays for ever: the collector need not look through it again and again within requests."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(YOUNG_MOST, *gc.get_threshold()[1:])

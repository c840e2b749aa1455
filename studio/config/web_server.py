"""How gunicorn serves the studio, under `runstudio` and in the image: `gunicorn -c python:studio.config.web_server`."""

from __future__ import annotations

import os
import select
from typing import Any

from studio.config.orphans import die_with_parent, die_with_supervisor

wsgi_app = "studio.config.wsgi"
GATE_VARIABLE = "STUDIO_GATE"
LOOK_EVERY_S = 0.5

worker_class = "gthread"
workers = 1
threads = 64  # a progress stream holds one; 24 streams leave 40 for requests
control_socket_disable = True


def on_starting(server: Any) -> None:
    die_with_supervisor()


def post_fork(server: Any, worker: Any) -> None:
    die_with_parent(server.pid)


def post_worker_init(worker: Any) -> None:
    """Loaded, but closed until `runstudio` has made the tables: it then closes its end of a pipe."""
    gate = os.environ.get(GATE_VARIABLE)
    while gate and worker.alive and not select.select([int(gate)], [], [], LOOK_EVERY_S)[0]:
        worker.notify()

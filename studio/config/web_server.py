"""How gunicorn serves the studio, under `runstudio` and in the image: `gunicorn -c python:studio.config.web_server`."""

from __future__ import annotations

from typing import Any

from studio.config.orphans import die_with_parent, die_with_supervisor

wsgi_app = "studio.config.wsgi"
worker_class = "gthread"
workers = 1
threads = 64  # a progress stream holds one; 24 streams leave 40 for requests
control_socket_disable = True


def on_starting(server: Any) -> None:
    die_with_supervisor()


def post_fork(server: Any, worker: Any) -> None:
    die_with_parent(server.pid)

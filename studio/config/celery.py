"""The queue that wakes the worker. What runs, and in which state, the Job rows say."""

from __future__ import annotations

import logging
import logging.config
import os
import resource
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import Any

from billiard.pool import RUN
from celery import Celery, bootsteps, signals
from django.conf import settings
from django.utils.module_loading import import_string
from kombu.transport import TRANSPORT_ALIASES

from studio.config.orphans import die_with_parent, die_with_supervisor
from studio.config.tables import newer_tables

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.config.settings")

SWEEP_EVERY_S = 3.0
LOOK_EVERY_S = 0.5
ALIVE_FILE = "worker.alive"

logger = logging.getLogger(__name__)

TRANSPORT_ALIASES["filesystem"] = "studio.config.whole_messages:Transport"
app = Celery("studio")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["analysis.jobs"])


class LookAfterJobs(bootsteps.StartStopStep):
    """Loads what jobs need, then sends the sweep every few seconds.

    The sweep is a task, so that this process, which forks, never holds a database connection; one that found no free
    child in time expires, the next one follows.
    """

    requires = ("celery.worker.components:Timer",)

    def __init__(self, parent: Any, **options: Any) -> None:
        self.entries: list[Any] = []
        self.children: set[int] = set()
        if refusal := newer_tables():
            logger.critical(refusal)
            raise SystemExit(1)
        for handler in settings.JOB_HANDLERS.values():
            import_string(handler)  # before the children are forked: their first job need not load it

    def start(self, parent: Any) -> None:
        die_with_supervisor()
        self.entries = [
            parent.timer.call_repeatedly(SWEEP_EVERY_S, self.send),
            parent.timer.call_repeatedly(LOOK_EVERY_S, self.look_at_children, (parent,)),
        ]
        self.send()

    def stop(self, parent: Any) -> None:
        for entry in self.entries:
            entry.cancel()

    def send(self) -> None:
        """Send the sweep; the file's time then says to a health check that this process lives and reaches its queue."""
        app.send_task("analysis.jobs.tasks.look_after_jobs", expires=SWEEP_EVERY_S)
        with suppress(OSError):  # a full disk
            Path(tempfile.gettempdir(), ALIVE_FILE).touch()

    def look_at_children(self, parent: Any) -> None:
        """End the worker when an idle child was killed: it took the pool's lock along, and no child would ever get
        work again. Whoever keeps the worker starts another. A busy child holds no lock and is replaced by the pool."""
        pool = parent.pool and parent.pool._pool
        if not pool or pool._state != RUN:  # not there yet, or stopping
            return
        busy = {pid for job in list(pool._cache.values()) for pid in job.worker_pids()}
        children = {child.pid for child in list(pool._pool)}
        lost = self.children - children - busy
        self.children = children
        if lost:
            logger.error("idle children %s were killed; the worker ends, so that another one starts", sorted(lost))
            os._exit(1)


app.steps["worker"].add(LookAfterJobs)


@signals.celeryd_init.connect
@signals.setup_logging.connect
def keep_our_log(**_: Any) -> None:
    """Early, for what Celery warns of at its start; a receiver of the second keeps it from adding its own handlers."""
    logging.config.dictConfig(settings.LOGGING)
    logging.captureWarnings(True)


@signals.worker_process_init.connect
def limit_child(**_: Any) -> None:
    """A child parses what strangers uploaded: cap its memory, and never let it outlive the worker."""
    die_with_parent(os.getppid())
    limit = settings.JOB_MEMORY_MIB * 1024 * 1024
    resource.setrlimit(resource.RLIMIT_AS, (limit, limit))

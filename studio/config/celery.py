"""The queue that wakes the worker. What runs, and in which state, the Job rows say."""

from __future__ import annotations

import os
import resource
from typing import Any

from celery import Celery, bootsteps, signals
from django.conf import settings
from django.utils.module_loading import import_string

from studio.config.orphans import die_with_parent, die_with_supervisor

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.config.settings")

SWEEP_EVERY_S = 3.0

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
        self.entry: Any = None
        for handler in settings.JOB_HANDLERS.values():
            import_string(handler)  # before the children are forked: their first job need not load it

    def start(self, parent: Any) -> None:
        die_with_supervisor()
        self.entry = parent.timer.call_repeatedly(SWEEP_EVERY_S, self.send)
        self.send()

    def stop(self, parent: Any) -> None:
        if self.entry:
            self.entry.cancel()

    def send(self) -> None:
        app.send_task("analysis.jobs.tasks.look_after_jobs", expires=SWEEP_EVERY_S)


app.steps["worker"].add(LookAfterJobs)


@signals.worker_process_init.connect
def limit_child(**_: Any) -> None:
    """A child parses what strangers uploaded: cap its memory, and never let it outlive the worker."""
    die_with_parent(os.getppid())
    limit = settings.JOB_MEMORY_MIB * 1024 * 1024
    resource.setrlimit(resource.RLIMIT_AS, (limit, limit))

"""What the queue can ask a worker to do. A message only wakes: which job is next, the rows say.

The claim by row lets a user's job overtake those that were asked earlier, and makes lost, doubled and late
messages harmless.
"""

from __future__ import annotations

import logging
import time
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from celery import Task, shared_task
from kombu.exceptions import KombuError, OperationalError

from analysis.jobs.runner import run_next
from analysis.results.services.jobs import sweep
from studio.records.services.kept_answers import forget_old_answers

logger = logging.getLogger(__name__)

MOST_WAKES = 4
ANSWER_FIRST_S = 0.01
_messenger = ThreadPoolExecutor(1, thread_name_prefix="wake")
"""Starts its thread when it is first asked for one; a process that ends by itself still sends what it has in hand."""


@shared_task(bind=True)
def work(self: Task[Any, Any]) -> None:
    """Run the next job; then wake for the one after it."""
    if run_next(worker=self.request.hostname or "unnamed"):
        wake()


@shared_task
def look_after_jobs() -> None:
    """Take back what was lost and wake for what waits; forget what was kept long enough."""
    forget_old_answers()
    for _ in range(min(sweep(), MOST_WAKES)):
        wake()


def wake_soon() -> None:
    """Wake a worker from a thread beside, and the answer first: whoever asked for the work need not wait for that."""
    _messenger.submit(_wake_after_the_answer)


def _wake_after_the_answer() -> None:
    time.sleep(ANSWER_FIRST_S)  # else both would take turns in one interpreter
    wake()


def wake() -> None:
    """Wake a worker. A message that cannot be sent is only logged: the row stays, the sweep will wake for it."""
    try:
        work.apply_async(retry=False)
    except (KombuError, OperationalError, OSError):
        logger.warning("no worker could be woken; the next sweep tries again", exc_info=True)

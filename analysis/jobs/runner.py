"""Running one job: claim, keep the lease alive, hand over to the handler, write how it ended.

What a job does is its handler's business (`settings.JOB_HANDLERS`); which process runs it is `tasks.py`'s.
"""

from __future__ import annotations

import logging
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from celery.exceptions import SoftTimeLimitExceeded
from django.conf import settings
from django.db import DatabaseError, InterfaceError, OperationalError, connection
from django.utils.module_loading import import_string

from analysis.core.types import SessionRefused
from analysis.readers.archive import DOCUMENT
from analysis.readers.faults import Fault, Refused
from analysis.results.services.attempts import Attempt, Superseded
from analysis.results.services.jobs import claim_next, give_back
from studio.records.errors import RecordsError
from studio.records.log_fields import log_fields_bound
from studio.records.problems import problem, problem_of
from studio.records.store import has_room, is_full

logger = logging.getLogger(__name__)

Handler = Callable[[Attempt], dict[str, Any]]

FAULT = "A fault of the studio, not of the data. Try again; if it stays, tell the owner."
TOO_LONG = "The job took longer than {seconds} s and was stopped. Try fewer or shorter recordings."
TOO_BIG = "The job needed more than {mib} MiB of memory and was stopped. Try fewer or shorter recordings."
DISK_FULL = "The studio's disk is full; the job starts again when there is room. Tell the owner."


def handler_of(kind: str) -> Handler:
    """The function that does a kind of job."""
    handler: Handler = import_string(settings.JOB_HANDLERS[kind])
    return handler


def run_next(*, worker: str) -> bool:
    """Run the next job, if there is one and room for what it writes; gives whether it was run."""
    if not has_room():  # the job keeps its attempts; the sweep wakes for it until somebody has made room
        logger.warning("no job is started: %s", DISK_FULL)
        return False
    attempt = claim_next(worker=worker)
    if attempt is None:
        return False
    with log_fields_bound(job=str(attempt.job.pk), kind=attempt.job.kind):
        _run_logged(attempt)
    return True


def _run_logged(attempt: Attempt) -> None:
    began = time.monotonic()
    logger.info("job started", extra={"fields": {"attempt": attempt.job.attempts}})
    try:
        with lease_kept(attempt):
            run(attempt)
    except Superseded as reason:
        logger.warning("%s; nothing more was written", reason)
    state, seconds = attempt.ended or "given back", round(time.monotonic() - began, 2)
    logger.info("job left", extra={"fields": {"state": state, "seconds": seconds}})


def run(attempt: Attempt) -> None:
    """Hand the attempt to its handler and write how it ended."""
    try:
        result = handler_of(attempt.job.kind)(attempt)
        if not attempt.ended:
            attempt.done(result)
    except (Refused, RecordsError) as refusal:
        attempt.refused(problem_of(refusal))
    except SessionRefused as refusal:
        attempt.refused(problem("unusable", str(refusal), [fault_of(refusal)]))
    except (InterfaceError, OperationalError):
        # The database went away or stayed locked: no fault of the job, whose attempts still have an end.
        logger.exception("job %s goes back to the queue", attempt.job.pk)
        give_back(attempt=attempt)
    except SoftTimeLimitExceeded:
        attempt.failed(TOO_LONG.format(seconds=settings.JOB_TIME_LIMIT_S), traceback.format_exc())
    except MemoryError:
        attempt.failed(TOO_BIG.format(mib=settings.JOB_MEMORY_MIB), traceback.format_exc())
    except Superseded:
        raise
    except Exception as error:
        logger.exception("job %s failed", attempt.job.pk)
        end_of_fault(attempt, error)


def fault_of(refusal: SessionRefused) -> Fault:
    """What the estimator refuses, in the form in which every refusal is told."""
    return Fault(DOCUMENT, refusal.key, refusal.given, refusal.allowed)


def end_of_fault(attempt: Attempt, error: Exception) -> None:
    """A full disk is no fault of the job, which waits for room; anything else ends it."""
    if is_full(error):
        give_back(attempt=attempt, message=DISK_FULL)
    else:
        attempt.failed(FAULT, traceback.format_exc())


@contextmanager
def lease_kept(attempt: Attempt) -> Iterator[None]:
    """Renew the lease from a thread of its own: a long sum in the handler must not look like a dead worker."""
    stop = threading.Event()
    keeper = threading.Thread(target=_keep, args=(attempt, stop), name="lease", daemon=True)
    keeper.start()
    try:
        yield
    finally:
        stop.set()
        keeper.join()


def _keep(attempt: Attempt, stop: threading.Event) -> None:
    while not stop.wait(settings.JOB_LEASE_S / 4):
        try:
            attempt.renew()
        except Superseded:
            return
        except DatabaseError:
            logger.warning("the lease of job %s could not be renewed", attempt.job.pk, exc_info=True)
        finally:
            connection.close()

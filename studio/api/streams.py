"""Server-sent events of one job: a thread each, so they are few and short, and hold no database connection.

Bounded by design: `MOST_OPEN` streams a process, `LONGEST_S` each; the browser comes back with Last-Event-ID.
"""

from __future__ import annotations

import hashlib
import json
import socket
import threading
import time
from collections.abc import Callable, Iterator

from django.db import connection

from analysis.results.models import JobState
from studio.api.problems import TooManyStreams

MOST_OPEN = 24
LONGEST_S = 60.0
COMMENT_EVERY_S = 15.0
LOOK_EVERY_S = 0.5
RETRY_MS = 3000
OVER = {JobState.DONE.value, JobState.REFUSED.value, JobState.FAILED.value}

_places = threading.BoundedSemaphore(MOST_OPEN)


def event_id(document: str) -> str:
    """Names what a job's document says, so that a caller who comes back is told only what is new."""
    return hashlib.sha256(document.encode()).hexdigest()[:16]


def has_left(caller: socket.socket | None) -> bool:
    """Whether the caller hung up: a write would only tell at the second comment, and the place be lost till then."""
    if caller is None:
        return False
    try:
        return caller.recv(1, socket.MSG_PEEK | socket.MSG_DONTWAIT) == b""
    except (BlockingIOError, ValueError):  # nothing sent; an encrypted socket that cannot be looked into
        return False
    except OSError:
        return True


class JobStream:
    """Yields an event for every change of the job until it is over or time is up; `close` frees its place.

    A class and not a generator: the server closes what it never began to read, and a generator that never
    began would keep its place for ever.
    """

    def __init__(
        self,
        *,
        read: Callable[[], str],
        seen: str = "",
        left: Callable[[], bool] = lambda: False,
        wait: Callable[[float], None] = time.sleep,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        if not _places.acquire(blocking=False):
            raise TooManyStreams
        self._open = True
        self._read, self._left, self._wait, self._clock = read, left, wait, clock
        self._lines = self._events(seen)

    def __iter__(self) -> Iterator[bytes]:
        return self

    def __next__(self) -> bytes:
        return next(self._lines)

    def close(self) -> None:
        """Give the place back, once."""
        if self._open:
            self._open = False
            _places.release()

    def _events(self, seen: str) -> Iterator[bytes]:
        began = spoke = self._clock()
        yield f"retry: {RETRY_MS}\n\n".encode()
        while True:
            document = self._read()
            if event_id(document) != seen:
                seen, spoke = event_id(document), self._clock()
                yield f"id: {seen}\nevent: job\ndata: {document}\n\n".encode()
            if json.loads(document)["state"] in OVER or self._clock() - began >= LONGEST_S:
                return
            if self._clock() - spoke >= COMMENT_EVERY_S:
                spoke = self._clock()
                yield b": still here\n\n"
            connection.close()
            self._wait(LOOK_EVERY_S)
            if self._left():
                return

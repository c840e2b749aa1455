"""What the terminal says about the jobs, read from their rows: one line that changes on a terminal, a line per
change elsewhere."""

from __future__ import annotations

import time
from typing import TextIO

from django.db import DatabaseError, connection
from django.db.models import Count

from analysis.results.models import Job, JobState

LOOK_EVERY_S = 0.5
LINE_LENGTH = 78


class JobLine:
    """Follows the Job table. `quiet` is true when nothing waits and nothing runs."""

    def __init__(self, out: TextIO) -> None:
        self.out = out
        self.on_terminal = out.isatty()
        self.quiet = True
        self._last = ""
        self._look_at = 0.0
        self._open = False

    def look(self) -> bool:
        """Draw what changed; gives whether the last job has ended since the look before."""
        now = time.monotonic()
        if now < self._look_at:
            return False
        self._look_at = now + LOOK_EVERY_S
        try:
            counts = dict(Job.objects.order_by().values_list("state").annotate(Count("id")))
            text = self._text(counts)
        except DatabaseError:
            connection.close()  # a restarted database is met by a new connection at the next look
            return False
        busy = bool(counts.get(JobState.QUEUED) or counts.get(JobState.RUNNING))
        if busy or not self.quiet:
            self._draw(text)
        has_ended, self.quiet = not busy and not self.quiet, not busy
        return has_ended

    def say(self, sentence: str) -> None:
        """A line of its own, below the line that changes."""
        self.out.write(("\n" if self._open else "") + sentence + "\n")
        self.out.flush()
        self._open, self._last = False, ""

    def _text(self, counts: dict[str, int]) -> str:
        ended = [f"{counts[state]} {state}" for state in ("done", "refused", "failed") if counts.get(state)]
        text = f"Jobs: {', '.join(ended) or 'none done yet'}, {counts.get(JobState.QUEUED, 0)} waiting"
        if not self.on_terminal:
            return text
        running = Job.objects.filter(state=JobState.RUNNING).order_by("priority", "id").first()
        if running is None:
            return text
        return f"{text}, {running.kind.replace('_', ' ')} {running.progress:.0%}: {running.message}"

    def _draw(self, text: str) -> None:
        if text == self._last:
            return
        self._last = text
        if self.on_terminal:
            self.out.write(f"\r\x1b[K{text[:LINE_LENGTH]}")
            self._open = True
        else:
            self.out.write(text + "\n")
        self.out.flush()

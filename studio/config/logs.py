"""The log: one JSON object a line, on stderr, for web server and worker alike; with request and job ids, and without
anything about a person: no account, address, file name, title or body.

Messages of the house are sentences with ids only. What the framework, the server and the queue put into theirs comes
from callers (paths, hosts, arguments): of those the pattern is kept and the values are not. Of an error the kind and
the places are kept, not its message, which may quote a row; a job's row holds its traceback in full.
"""

from __future__ import annotations

import json
import logging
import time
import traceback
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.http import HttpRequest, HttpResponse
from uuid6 import uuid7

from studio.records.log_fields import current_log_fields, log_fields_bound

REQUEST_HEADER = "X-Request-ID"
UNLOGGED = {"live", "ready", "metrics"}
"""Names of the addresses that machines ask every few seconds."""
PATTERN_ONLY = ("django", "gunicorn", "celery", "kombu", "amqp", "redis")
MOST_CAUSES = 5

logger = logging.getLogger(__name__)


class JsonLines(logging.Formatter):
    """One record, one line."""

    def format(self, record: logging.LogRecord) -> str:
        outside = record.name.startswith(PATTERN_ONLY)
        line: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": str(record.msg) if outside else record.getMessage(),
            **current_log_fields(),
            **getattr(record, "fields", {}),
        }
        if record.exc_info and record.exc_info[1]:
            line["error"] = _causes(record.exc_info[1])
        return json.dumps(line, ensure_ascii=False)


def _causes(error: BaseException | None) -> list[dict[str, Any]]:
    """The error and what it came from, the last one first: kind and places."""
    causes: list[dict[str, Any]] = []
    while error is not None and len(causes) < MOST_CAUSES:
        frames = traceback.extract_tb(error.__traceback__)
        places = [f"{'/'.join(Path(frame.filename).parts[-3:])}:{frame.lineno} {frame.name}" for frame in frames]
        causes.append({"kind": type(error).__qualname__, "at": places})
        error = error.__cause__ or error.__context__
    return causes


LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"json": {"()": "studio.config.logs.JsonLines"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "json"}},
    "root": {"handlers": ["stderr"], "level": "INFO"},
    "loggers": {
        "celery": {"level": "WARNING"},  # the sweep would write two lines every few seconds
        "django.request": {"level": "ERROR"},  # a refused request has its own line
        "django.security": {"level": "CRITICAL"},  # the same, and their messages quote the caller
        "django.server": {"handlers": [], "propagate": True},
        "gunicorn.error": {"handlers": ["stderr"], "propagate": False, "level": "INFO"},
    },
}


class RequestLog:
    """Gives every request an id, says it in the answer's head, and writes one line when the answer is ready.

    The id is our own whatever the caller sent: a caller's could be anything. The line names the route, not the path.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        began, request_id = time.perf_counter(), str(uuid7())
        with log_fields_bound(request=request_id):
            answer = self.get_response(request)
            answer[REQUEST_HEADER] = request_id
            match = request.resolver_match
            if match is None or match.url_name not in UNLOGGED:
                milliseconds = round((time.perf_counter() - began) * 1000, 1)
                route = "" if match is None else match.route
                fields = {"method": request.method, "route": route, "status": answer.status_code}
                logger.info("answered", extra={"fields": fields | {"ms": milliseconds}})
        return answer

"""Whether the process lives (`/live/`) and whether it can do its work (`/ready/`). No sign-in, no detail of records."""

from __future__ import annotations

import os
import shutil
from contextlib import suppress

import redis
from django.conf import settings
from django.db import DatabaseError
from django.http import HttpRequest, JsonResponse

from studio.config.tables import pending_migrations

FREE_LEAST_MIB = 256
REDIS_PATIENCE_S = 1.0


def live(request: HttpRequest) -> JsonResponse:
    """200 as long as the process answers."""
    return _answer({"live": True})


def ready(request: HttpRequest) -> JsonResponse:
    """200 when everything that a request needs is there, else 503 with the reasons."""
    reasons = [reason for check in (_database, _queue, _disk) if (reason := check())]
    return _answer({"ready": not reasons, "reasons": reasons}, status=503 if reasons else 200)


def _answer(body: dict[str, object], status: int = 200) -> JsonResponse:
    answer = JsonResponse(body, status=status)
    answer["Cache-Control"] = "no-store"
    return answer


def _database() -> str | None:
    try:
        pending = pending_migrations()
    except DatabaseError:
        return "The database does not answer."
    if pending:
        return f"{len(pending)} migrations are not applied yet; run `python manage.py migrate`."
    return None


def _queue() -> str | None:
    if settings.REDIS_URL:
        return _redis()
    folder = settings.QUEUE_FOLDER / "in"
    if not os.access(folder, os.W_OK | os.X_OK):
        return "The queue folder is missing or cannot be written; start the studio with `python manage.py runstudio`."
    return None


def _redis() -> str | None:
    client: redis.Redis = redis.Redis.from_url(
        settings.REDIS_URL, socket_connect_timeout=REDIS_PATIENCE_S, socket_timeout=REDIS_PATIENCE_S
    )
    try:
        client.ping()
    except redis.RedisError:
        return "The queue (Redis) does not answer."
    finally:
        with suppress(redis.RedisError):
            client.close()
    return None


def _disk() -> str | None:
    free = shutil.disk_usage(settings.STUDIO_DATA).free // (1024 * 1024)
    if free < FREE_LEAST_MIB:
        return f"Only {free} MiB are free on the data folder's disk; {FREE_LEAST_MIB} are needed. Make room."
    return None

"""Signing in by name and password, with an end to guessing: the one way in for the API, the pages and the admin.

Only wrong pairs count, for each name and address, in a fixed window. The counts lie in this process's memory: one web
process serves a studio, and who restarts it has other ways in.
"""

from __future__ import annotations

import hashlib
import math
import time
from dataclasses import dataclass

from django.contrib.auth.backends import ModelBackend
from django.core.cache import cache
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest

from studio.records.models import User

QUOTA = 10
WINDOW_S = 300
POLICY = "sign-in"


@dataclass(frozen=True, slots=True)
class Guesses:
    """How many wrong pairs a name and an address have left, and for how many seconds that holds."""

    taken: int
    reset_s: int

    @property
    def left(self) -> int:
        return max(0, QUOTA - self.taken)

    @property
    def over(self) -> bool:
        """Whether the last pair was not looked at any more."""
        return self.taken > QUOTA


def guesses(request: HttpRequest | None, username: str) -> Guesses:
    """Where this name and the request's address stand."""
    key, reset_s = _count(request, username)
    return Guesses(taken=cache.get(key, 0), reset_s=reset_s)


class LimitedBackend(ModelBackend):
    """The framework's own, asked only while there are guesses left."""

    def authenticate(
        self, request: HttpRequest | None, username: str | None = None, password: str | None = None, **others: object
    ) -> User | None:
        key, _ = _count(request, username or "")
        cache.add(key, 0, WINDOW_S)
        if cache.incr(key) > QUOTA:  # counted before the look: many at once get no more than the quota
            raise PermissionDenied
        user = super().authenticate(request, username=username, password=password, **others)
        if user is not None:
            cache.decr(key)
        return user if isinstance(user, User) else None


def _count(request: HttpRequest | None, username: str) -> tuple[str, int]:
    """Name of the current window's count, which holds no name in the clear, and the seconds to its end."""
    address = request.META.get("REMOTE_ADDR", "") if request else ""
    who = hashlib.sha256(f"{address} {username.casefold()}".encode(errors="replace")).hexdigest()
    now = time.time()
    window = int(now // WINDOW_S)
    return f"{POLICY}:{who}:{window}", math.ceil((window + 1) * WINDOW_S - now)

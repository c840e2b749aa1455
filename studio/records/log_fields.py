"""Which request and which job the log lines of this moment belong to: ids, never names.

How a line is written is `studio.config.logs`; here is only what requests and jobs say about themselves.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar

_fields: ContextVar[dict[str, str] | None] = ContextVar("log_fields", default=None)


@contextmanager
def log_fields_bound(**fields: str) -> Iterator[None]:
    """Every line within says these as well."""
    token = _fields.set({**current_log_fields(), **fields})
    try:
        yield
    finally:
        _fields.reset(token)


def note_log_field(name: str, value: str) -> None:
    """Add one to what the request or job in hand has bound; outside of any it is forgotten."""
    fields = _fields.get()
    if fields is not None:
        fields[name] = value


def current_log_fields() -> Mapping[str, str]:
    """What the lines of this moment say."""
    return _fields.get() or {}

"""Routes that will go: Deprecation (RFC 9745), Sunset (RFC 8594), and where to read what replaces them.

A view retires by `retirement = Retirement(...)`; its answers carry the fields and the OpenAPI document says
`deprecated`. Both only tell: the route works as before until it is taken out.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils.http import http_date


@dataclass(frozen=True, slots=True)
class Retirement:
    """When a route became one not to build on, when it goes, and the address that says what to use instead."""

    deprecated: datetime
    sunset: datetime
    says: str

    def __post_init__(self) -> None:
        if self.deprecated.tzinfo is None or self.sunset.tzinfo is None:
            raise ValueError("deprecated and sunset must have a time zone")
        if self.sunset < self.deprecated:  # RFC 9745, section 4
            raise ValueError(f"sunset must not be before deprecated; got {self.sunset} and {self.deprecated}")

    @property
    def headers(self) -> dict[str, str]:
        """The fields of an answer: a structured date, an HTTP date, and a link for each."""
        return {
            "Deprecation": f"@{int(self.deprecated.timestamp())}",
            "Sunset": http_date(self.sunset.timestamp()),
            "Link": ", ".join(f'<{self.says}>; rel="{rel}"; type="text/html"' for rel in ("deprecation", "sunset")),
        }

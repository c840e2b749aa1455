"""What a service may say no with. The doors turn each into one answer; nothing else reaches a user."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from analysis.readers.faults import Fault, shown


class RecordsError(Exception):
    """A refusal in words that a fitter can act on; `faults` where single fields or files are at fault."""

    def __init__(self, message: str, *, faults: tuple[Fault, ...] = ()) -> None:
        super().__init__(message)
        self.message = message
        self.faults = faults


class Unusable(RecordsError):
    """Well formed, and still cannot be used (422)."""


class Conflict(RecordsError):
    """Stands against what is there already: uniqueness or state (409)."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One field in which what the caller wants and what somebody wrote meanwhile differ."""

    key: str
    yours: Any
    theirs: Any


class StaleVersion(RecordsError):
    """Somebody else changed the record since it was read (412); nothing was written.

    `differences` holds both values of each field, and `etag` names the version that `theirs` was read from.
    """

    def __init__(
        self,
        message: str,
        *,
        faults: tuple[Fault, ...] = (),
        differences: tuple[Difference, ...] = (),
        etag: str = "",
    ) -> None:
        super().__init__(message, faults=faults)
        self.differences = differences
        self.etag = etag


class TooLarge(RecordsError):
    """More bytes than are allowed (413)."""


def sentence(start: str, faults: Iterable[Fault]) -> str:
    """One sentence for all faults."""
    return start + ": " + "; ".join(f"{fault.key} is {fault.given}, allowed: {fault.allowed}" for fault in faults)


def fault(key: str, given: object, allowed: str) -> Fault:
    """A fault of a field; a record has no file."""
    return Fault(file="", key=key, given=given if isinstance(given, str) else shown(given), allowed=allowed)

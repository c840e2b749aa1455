"""What a refusal says: which file, which line or key, what was found, what is allowed.

Every reader of this room refuses with these; nothing else about errors belongs here.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass

MOST_SHOWN = 80


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in what was handed in."""

    file: str
    key: str
    given: str
    allowed: str
    line: int | None = None

    def __post_init__(self) -> None:
        # Names come from hostile files: half surrogates and control signs would break a terminal or a JSON answer.
        for name in ("file", "key", "given", "allowed"):
            object.__setattr__(self, name, _printable(getattr(self, name)))

    def sentence(self) -> str:
        """Say the fault so that a fitter can mend it."""
        where = self.file if self.line is None else f"{self.file}, line {self.line}"
        return f"{where}, {self.key}: found {self.given}; allowed: {self.allowed}."


class Refused(Exception):
    """The input is refused as a whole; `faults` lists everything found wrong."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(fault.sentence() for fault in self.faults))

    def __reduce__(self) -> tuple[type[Refused], tuple[tuple[Fault, ...]]]:
        # Refusals cross process borders (a worker child parses): the default would rebuild from the text.
        return type(self), (self.faults,)


def shown(value: object) -> str:
    """Quote a found text; anything else as JSON writes it, so that 82 and '82' differ. Cut to a readable length."""
    if isinstance(value, str):
        return f"'{value[:MOST_SHOWN]}...'" if len(value) > MOST_SHOWN else f"'{value}'"
    text = json.dumps(value, ensure_ascii=False, default=str)
    return f"{text[:MOST_SHOWN]}..." if len(text) > MOST_SHOWN else text


def _printable(text: str) -> str:
    return (
        text
        if text.isprintable()
        else "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in text)
    )

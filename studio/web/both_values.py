"""Two people on one record: what somebody wrote meanwhile beside what the form brought, for the one who must choose;
and what the records refused, said at the form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from studio.records.errors import RecordsError


@dataclass(frozen=True, slots=True)
class Both:
    """One thing of which both have their say."""

    name: str
    theirs: str
    yours: str


def sentences(refusal: RecordsError) -> list[str]:
    """What was refused, a sentence for each fault, or the refusal's own where it names none."""
    told = [f"{fault.key}: found {fault.given}; allowed: {fault.allowed}." for fault in refusal.faults]
    return told or [refusal.message]


def sent_version(sent: Mapping[str, str], name: str = "version") -> int:
    """The version that a form was drawn from; 0, which no record has, where it says none."""
    text = sent.get(name, "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else 0

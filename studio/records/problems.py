"""Problem documents (RFC 9457): the one shape in which the studio says no, in answers and in refused jobs.

No `instance`, so that equal refusals are equal bytes. Which HTTP error becomes which kind is the API's business;
here are the kinds, their words and how a refusal of the records or the readers becomes a document.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any

from analysis.readers.faults import Fault, Refused
from studio.records.errors import Conflict, RecordsError, StaleVersion, TooLarge, Unusable

TYPE_PREFIX = "/api/v1/docs/problems/"


@dataclass(frozen=True, slots=True)
class ProblemKind:
    """One kind of refusal: the last part of its `type`, its title, its status, what to do, and how one may look."""

    slug: str
    title: str
    status: int
    remedy: str
    example: str
    faults: tuple[Fault, ...] = ()

    @property
    def type(self) -> str:
        return f"{TYPE_PREFIX}{self.slug}/"


_TYRE = Fault(file="session.json", line=12, key="setups.0.tyre_pressure_kpa.front", given="5.2", allowed="100 to 1500")
_NUMBER = Fault(file="", key="height_cm", given="'tall'", allowed="a number, without quotes")
_ZIP = Fault(file="day.zip", key="bundle", given="812 bytes that begin 'Rar!'", allowed="a whole zip")

KINDS = {
    kind.slug: kind
    for kind in (
        ProblemKind(
            "malformed",
            "The request has the wrong shape",
            400,
            "Mend what `errors` names and send it again.",
            "The request has the wrong shape.",
            (_NUMBER,),
        ),
        ProblemKind(
            "sign-in",
            "Nobody is signed in",
            401,
            "Send a valid token, or sign in.",
            "Nobody is signed in: send `Authorization: Bearer` with a valid token.",
        ),
        ProblemKind(
            "not-allowed",
            "This account may not do that",
            403,
            "Use an account whose role may, or a token whose scope may.",
            "This account's role may not use this address in this way.",
        ),
        ProblemKind(
            "not-found",
            "Nothing there",
            404,
            "Look the address up in the list it came from.",
            "There is nothing at this address, or it is not yours.",
        ),
        ProblemKind(
            "method",
            "This address does not take that method",
            405,
            "Use one that `Allow` names.",
            'Method "PUT" not allowed.',
        ),
        ProblemKind(
            "not-acceptable",
            "No such format",
            406,
            "Ask for application/json.",
            "Could not satisfy the request Accept header.",
        ),
        ProblemKind(
            "conflict",
            "That stands against what is there",
            409,
            "Read the record again and decide; where one under the same key runs, wait.",
            "The bike is in use by setups; delete or change those first.",
        ),
        ProblemKind(
            "stale",
            "Somebody changed it since it was read",
            412,
            "Read it again, then repeat the change.",
            "The record was changed since it was read; read it again, then repeat the change.",
        ),
        ProblemKind(
            "too-large",
            "Too many bytes",
            413,
            "Send a smaller file, or let the owner raise the limit.",
            "The upload has 90000000 bytes; allowed are 67108864.",
        ),
        ProblemKind(
            "media-type",
            "Not a type that is read here",
            415,
            "Send one that `errors` names.",
            "The bundle is not a zip, or not a whole one.",
            (_ZIP,),
        ),
        ProblemKind(
            "unusable",
            "Well formed, and cannot be used",
            422,
            "Mend what `errors` names.",
            "The bundle cannot be used.",
            (_TYRE,),
        ),
        ProblemKind(
            "precondition",
            "The change needs If-Match",
            428,
            "Read the record and send its ETag as If-Match.",
            "A change needs If-Match with the ETag that the record was read with.",
        ),
        ProblemKind(
            "too-many",
            "Too many requests",
            429,
            "Wait as long as Retry-After says.",
            "Too many wrong pairs for this username; for a while no other is looked at.",
        ),
        ProblemKind(
            "fault",
            "A fault of the studio",
            500,
            "Try again; if it stays, tell the owner.",
            "Something went wrong on the studio's side; it was noted.",
        ),
        ProblemKind(
            "unavailable",
            "Not just now",
            503,
            "Try again after Retry-After.",
            "The database does not take this just now.",
        ),
    )
}

_KIND_OF_ERROR: dict[type[Exception], str] = {
    Unusable: "unusable",
    Conflict: "conflict",
    StaleVersion: "stale",
    TooLarge: "too-large",
}


def problem(slug: str, detail: str, faults: Iterable[Fault] = ()) -> dict[str, Any]:
    """A problem document of a kind, with one entry in `errors` for each fault."""
    kind = KINDS[slug]
    document: dict[str, Any] = {"type": kind.type, "title": kind.title, "status": kind.status, "detail": detail}
    errors = [
        {
            "file": fault.file or None,
            "line": fault.line,
            "key": fault.key,
            "given": fault.given,
            "allowed": fault.allowed,
        }
        for fault in faults
    ]
    if errors:
        document["errors"] = errors
    return document


def problem_of(error: RecordsError | Refused) -> dict[str, Any]:
    """The problem document of a refusal by the records or the readers."""
    if isinstance(error, Refused):
        return problem("unusable", str(error), error.faults)
    document = problem(_KIND_OF_ERROR.get(type(error), "unusable"), error.message, error.faults)
    if isinstance(error, StaleVersion) and error.differences:
        document["differences"] = [asdict(difference) for difference in error.differences]
    return document

"""Problem documents (RFC 9457): the one shape in which the studio says no, in answers and in refused jobs.

No `instance`, so that equal refusals are equal bytes. Which HTTP error becomes which kind is the API's business;
here are the kinds, their words and how a refusal of the records or the readers becomes a document.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from analysis.readers.faults import Fault, Refused
from studio.records.errors import Conflict, RecordsError, StaleVersion, TooLarge, Unusable

TYPE_PREFIX = "/api/v1/docs/problems/"


@dataclass(frozen=True, slots=True)
class ProblemKind:
    """One kind of refusal: the last part of its `type`, its title, its status and what to do."""

    slug: str
    title: str
    status: int
    remedy: str

    @property
    def type(self) -> str:
        return f"{TYPE_PREFIX}{self.slug}/"


KINDS = {
    kind.slug: kind
    for kind in (
        ProblemKind("malformed", "The request has the wrong shape", 400, "Mend what `errors` names and send it again."),
        ProblemKind("sign-in", "Nobody is signed in", 401, "Send a valid token, or sign in."),
        ProblemKind("not-allowed", "This account may not do that", 403, "Use an account whose role may."),
        ProblemKind("not-found", "Nothing there", 404, "Look the address up in the list it came from."),
        ProblemKind("method", "This address does not take that method", 405, "Use one that `Allow` names."),
        ProblemKind("not-acceptable", "No such format", 406, "Ask for application/json."),
        ProblemKind("conflict", "That stands against what is there", 409, "Read the record again and decide."),
        ProblemKind("stale", "Somebody changed it since it was read", 412, "Read it again, then repeat the change."),
        ProblemKind("too-large", "Too many bytes", 413, "Send a smaller file, or let the owner raise the limit."),
        ProblemKind("media-type", "Not a type that is read here", 415, "Send one that `errors` names."),
        ProblemKind("unusable", "Well formed, and cannot be used", 422, "Mend what `errors` names."),
        ProblemKind("precondition", "The change needs If-Match", 428, "Read the record and send its ETag as If-Match."),
        ProblemKind("too-many", "Too many requests", 429, "Wait as long as Retry-After says."),
        ProblemKind("fault", "A fault of the studio", 500, "Try again; if it stays, tell the owner."),
        ProblemKind("unavailable", "Not just now", 503, "Try again after Retry-After."),
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
    return problem(_KIND_OF_ERROR.get(type(error), "unusable"), error.message, error.faults)

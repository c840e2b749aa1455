"""What riders are asked, in plain words: one text for each purpose and version.

A text that anybody may have agreed to is never edited: new words are a new version, put in front. Which wording is
in force is the first of its purpose; the older ones stay, so that a page can show what somebody agreed to.
"""

from __future__ import annotations

from dataclasses import dataclass

from studio.records.models import ConsentPurpose


@dataclass(frozen=True, slots=True)
class Wording:
    """The words of one purpose: what is asked, what is done, and what withdrawing does."""

    purpose: str
    version: str
    title: str
    asked: str
    withdrawing: str


WORDINGS = (
    Wording(
        ConsentPurpose.RECORDS,
        "2026-01",
        "Keep my records",
        "The studio keeps who I am, my bikes and positions, my recordings and the results and reports made from them, "
        "so that later tests can be compared with earlier ones. Its owner and its fitters read them, and so do I.",
        "The studio tests me no more under this agreement. What is there stays until I have it erased, "
        "which I can do at any time.",
    ),
    Wording(
        ConsentPurpose.POOLED_RESULTS,
        "2026-01",
        "Count my results among others'",
        "My differences between products count in tables over many riders, which shops read. A figure is shown only "
        "when at least three riders stand behind it, and never with my name, my code or my own values.",
        "My results leave the tables at once, and a figure that rested on them is withheld until it can be made "
        "without me.",
    ),
    Wording(
        ConsentPurpose.CONTACT,
        "2026-01",
        "Write to me",
        "The studio may use my contact details to tell me of my results and of dates for tests.",
        "From then on the studio writes to me only where I have asked something.",
    ),
    Wording(
        ConsentPurpose.HEALTH_NOTES,
        "2026-01",
        "Note what hurts",
        "The fitter may write down pain, numbness and injuries that matter for my position. Only the owner and the "
        "fitters of the studio read these notes; no report, table or export for others holds them. They replace no "
        "advice of a licensed clinician.",
        "The notes are deleted at once.",
    ),
)


def wording_in_force(purpose: str) -> Wording:
    """What is asked today."""
    return next(wording for wording in WORDINGS if wording.purpose == purpose)


def wording_of(purpose: str, version: str) -> Wording | None:
    """What was asked under a version."""
    return next((one for one in WORDINGS if (one.purpose, one.version) == (purpose, version)), None)

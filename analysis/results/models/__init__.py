"""Rows that hang on the records."""

from analysis.results.models.analysis import Analysis
from analysis.results.models.edition import Edition, Standings
from analysis.results.models.evidence import ARM_FACTS, Acceptance, Arm
from analysis.results.models.job import BACKGROUND_PRIORITY, USER_PRIORITY, Job, JobState
from analysis.results.models.ledger import ContributorKey, CountedGroup, LedgerEntry

__all__ = [
    "ARM_FACTS",
    "BACKGROUND_PRIORITY",
    "USER_PRIORITY",
    "Acceptance",
    "Analysis",
    "Arm",
    "ContributorKey",
    "CountedGroup",
    "Edition",
    "Job",
    "JobState",
    "LedgerEntry",
    "Standings",
]

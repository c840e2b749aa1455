"""Rows that hang on the records."""

from analysis.results.models.analysis import Analysis
from analysis.results.models.job import Job, JobState

__all__ = ["Analysis", "Job", "JobState"]

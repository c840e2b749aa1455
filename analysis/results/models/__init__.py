"""Rows that hang on the records."""

from analysis.results.models.analysis import Analysis
from analysis.results.models.job import BACKGROUND_PRIORITY, USER_PRIORITY, Job, JobState

__all__ = ["BACKGROUND_PRIORITY", "USER_PRIORITY", "Analysis", "Job", "JobState"]

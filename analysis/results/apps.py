"""App of the results room."""

from django.apps import AppConfig


class ResultsConfig(AppConfig):
    name = "analysis.results"
    label = "results"

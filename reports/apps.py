"""App of the reports room."""

from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "reports"
    label = "reports"

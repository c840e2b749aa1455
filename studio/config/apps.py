"""The entry points as an app, so that their commands are found and their checks are run."""

from django.apps import AppConfig
from django.core.checks import register

from studio.config.checks import CHECKS


class ConfigConfig(AppConfig):
    name = "studio.config"
    label = "config"

    def ready(self) -> None:
        for check in CHECKS:
            register(check, "studio")

"""The entry points as an app, so that their management commands are found."""

from django.apps import AppConfig


class ConfigConfig(AppConfig):
    name = "studio.config"
    label = "config"

"""App of the web room."""

from django.apps import AppConfig


class WebConfig(AppConfig):
    name = "studio.web"
    label = "web"

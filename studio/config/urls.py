"""Addresses of the two doors, and of what machines ask: health and metrics."""

from django.contrib import admin
from django.urls import URLPattern, URLResolver, include, path

from studio.config.health import live, ready
from studio.config.metrics import metrics

urlpatterns: list[URLPattern | URLResolver] = [
    path("live/", live, name="live"),
    path("ready/", ready, name="ready"),
    path("metrics/", metrics, name="metrics"),
    path("admin/", admin.site.urls),
    path("api/v1/", include("studio.api.urls")),
    path("", include("studio.web.urls")),
]

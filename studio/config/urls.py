"""Addresses of the two doors and of the health answers."""

from django.contrib import admin
from django.urls import URLPattern, URLResolver, include, path

from studio.config.health import live, ready

urlpatterns: list[URLPattern | URLResolver] = [
    path("live/", live, name="live"),
    path("ready/", ready, name="ready"),
    path("admin/", admin.site.urls),
    path("api/v1/", include("studio.api.urls")),
    path("", include("studio.web.urls")),
]

"""Answers that are a zip file."""

from __future__ import annotations

from rest_framework.renderers import JSONRenderer


class Zip(JSONRenderer):
    """Lets a caller ask for the file's type; refusals are still problem documents."""

    media_type = "application/zip"
    format = "zip"

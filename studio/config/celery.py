"""The queue that wakes the worker. What runs, and in which state, the Job rows say."""

from __future__ import annotations

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.config.settings")

app = Celery("studio")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["analysis.jobs"])

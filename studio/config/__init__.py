"""Settings and entry points. The Celery app is imported here, else a task sent by the web process
would quietly talk to a broker that nobody runs."""

from studio.config.celery import app as celery_app

__all__ = ["celery_app"]

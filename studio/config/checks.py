"""System checks of settings that are legal one by one and wrong together. Each has an id that stays.

What makes the studio unsafe is refused in `settings.py` before anything listens; here is what makes it unreliable.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from django.apps import AppConfig
from django.conf import settings
from django.core.checks import CheckMessage, Error, Warning

CHILD_LOSS_S = 13  # the worker notices a killed child after 10 s, then starts another; measured
MOUNTS = Path("/proc/mounts")
NETWORK_SYSTEMS = {"nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "ceph", "glusterfs", "fuse.sshfs", "afs"}


def lease_outlasts_a_lost_child(app_configs: Sequence[AppConfig] | None, **kwargs: object) -> list[CheckMessage]:
    """A lease that is over before the worker has noticed would run every slow job twice."""
    if settings.JOB_LEASE_S > CHILD_LOSS_S:
        return []
    hint = f"Set JOB_LEASE_S above {CHILD_LOSS_S}."
    return [Error(f"JOB_LEASE_S is {settings.JOB_LEASE_S} s.", hint=hint, id="studio.E001")]


def redis_keeps_messages_longer_than_jobs(
    app_configs: Sequence[AppConfig] | None, **kwargs: object
) -> list[CheckMessage]:
    """Redis gives a message again after `visibility_timeout`; shorter than a job, it would wake for running ones."""
    timeout = settings.CELERY_BROKER_TRANSPORT_OPTIONS.get("visibility_timeout")
    if not isinstance(timeout, int) or timeout > settings.JOB_TIME_LIMIT_S:
        return []
    hint = f"Set it above JOB_TIME_LIMIT_S ({settings.JOB_TIME_LIMIT_S} s)."
    return [Error(f"The broker's visibility_timeout is {timeout} s.", hint=hint, id="studio.E002")]


def database_lies_on_a_local_disk(app_configs: Sequence[AppConfig] | None, **kwargs: object) -> list[CheckMessage]:
    """SQLite's write-ahead log needs shared memory, which network file systems do not give."""
    if settings.DATABASES["default"]["ENGINE"] != "django.db.backends.sqlite3":
        return []
    system = file_system_of(settings.STUDIO_DATA)
    if system not in NETWORK_SYSTEMS:
        return []
    hint = "Put the data folder on a local disk, or use PostgreSQL (DATABASE_URL)."
    return [Warning(f"The data folder lies on a network file system ({system}).", hint=hint, id="studio.W001")]


def time_is_kept_in_utc(app_configs: Sequence[AppConfig] | None, **kwargs: object) -> list[CheckMessage]:
    """Records carry their own zone; another zone here would shift every report's times."""
    if settings.USE_TZ and settings.TIME_ZONE == "UTC":
        return []
    return [Error("The studio keeps time in UTC.", hint="Set USE_TZ=True, TIME_ZONE='UTC'.", id="studio.E003")]


def file_system_of(folder: Path) -> str | None:
    """The kind of file system that a folder lies on; None where the system does not say."""
    try:
        lines = MOUNTS.read_text(encoding="utf-8").splitlines()
    except OSError:
        return None
    mounts = {fields[1]: fields[2] for line in lines if len(fields := line.split()) > 2}
    resolved = folder.resolve()
    return next((mounts[str(place)] for place in (resolved, *resolved.parents) if str(place) in mounts), None)


CHECKS = (
    lease_outlasts_a_lost_child,
    redis_keeps_messages_longer_than_jobs,
    database_lies_on_a_local_disk,
    time_is_kept_in_utc,
)

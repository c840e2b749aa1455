"""System checks: each id fires on its combination and is silent on the settings as they stand."""

import pytest
from django.core.checks import run_checks

from studio.config import checks


def found():
    return {message.id for message in run_checks(tags=["studio"])}


def test_the_settings_as_they_stand_are_sound():
    assert found() == set()


def test_a_lease_shorter_than_the_loss_of_a_child(settings):
    settings.JOB_LEASE_S = 13
    assert found() == {"studio.E001"}


def test_a_broker_that_repeats_running_jobs(settings):
    settings.CELERY_BROKER_TRANSPORT_OPTIONS = {"visibility_timeout": 60}
    assert found() == {"studio.E002"}


def test_another_zone_than_utc(settings):
    settings.USE_TZ = False
    assert found() == {"studio.E003"}


@pytest.mark.parametrize(("system", "ids"), [("nfs4", {"studio.W001"}), ("ext4", set())])
def test_a_database_on_a_network_disk(settings, tmp_path, monkeypatch, system, ids):
    mounts = tmp_path / "mounts"
    mounts.write_text(f"dev / ext4 rw 0 0\nserver:/x {tmp_path} {system} rw 0 0\n", encoding="utf-8")
    monkeypatch.setattr(checks, "MOUNTS", mounts)
    settings.STUDIO_DATA = tmp_path / "studio"
    monkeypatch.setitem(settings.DATABASES["default"], "ENGINE", "django.db.backends.sqlite3")
    assert found() == ids


def test_a_system_without_a_mount_table_says_nothing(tmp_path, monkeypatch):
    monkeypatch.setattr(checks, "MOUNTS", tmp_path / "none")
    assert checks.file_system_of(tmp_path) is None

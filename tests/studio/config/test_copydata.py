"""`manage.py copydata`: a whole copy while the studio runs, and never into an older one."""

import sqlite3

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from studio.records.models import Studio
from studio.records.store import keep_file


@pytest.fixture
def file_database(tmp_path, settings):
    """SQLite only, with a data folder of its own."""
    if connection.vendor != "sqlite":
        pytest.skip("copydata is for SQLite; PostgreSQL has pg_dump")
    settings.STUDIO_DATA = tmp_path / "data"
    settings.FILES_FOLDER = tmp_path / "data" / "files"
    return settings


@pytest.mark.django_db(transaction=True)
def test_copy_holds_rows_and_files(file_database, tmp_path):
    studio = Studio.objects.create(name="Saltmarsh")
    stored = keep_file(studio_id=studio.id, chunks=[b"bytes of a recording"])
    call_command("copydata", str(tmp_path / "copy"))
    copied = sqlite3.connect(tmp_path / "copy" / "studio.sqlite3")
    names = copied.execute("SELECT name FROM records_studio").fetchall()
    copied.close()
    assert names == [("Saltmarsh",)]
    kept = tmp_path / "copy" / "files" / str(studio.id) / stored.sha256[:2] / stored.sha256
    assert kept.read_bytes() == b"bytes of a recording"


@pytest.mark.django_db
def test_an_older_copy_is_never_mixed_in(file_database, tmp_path):
    (tmp_path / "copy").mkdir()
    (tmp_path / "copy" / "older").touch()
    with pytest.raises(CommandError, match="not empty"):
        call_command("copydata", str(tmp_path / "copy"))

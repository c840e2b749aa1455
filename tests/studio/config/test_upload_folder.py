"""Large uploads come in on the studio's own disk, into a folder of their own that a start sweeps."""

from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile, TemporaryUploadedFile

from studio.config.uploads import sweep_uploads
from studio.config.web_server import on_starting
from tests.factories import FieldSessionFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _own_folders(settings, tmp_path):
    settings.FILES_FOLDER = tmp_path / "files"
    settings.FILE_UPLOAD_TEMP_DIR = tmp_path / "uploads"


def test_a_large_file_waits_in_the_studios_folder_and_leaves_nothing(client, fitter_bo, studio, settings, monkeypatch):
    session, seen = FieldSessionFactory(rider__studio=studio), []
    path_of = TemporaryUploadedFile.temporary_file_path

    def chunks(file, *_):
        seen.append(Path(path_of(file)).parent)
        yield b"time,power_w\n0,200\n"

    monkeypatch.setattr(TemporaryUploadedFile, "chunks", chunks)
    client.force_login(fitter_bo)
    large = SimpleUploadedFile("day.csv", b"x" * (settings.FILE_UPLOAD_MAX_MEMORY_SIZE + 1))
    assert client.post(f"/sessions/{session.pk}/files/", {"file": large}).status_code == 302
    assert seen == [settings.FILE_UPLOAD_TEMP_DIR]
    assert list(settings.FILE_UPLOAD_TEMP_DIR.iterdir()) == []


def test_a_start_sweeps_what_was_left_half_received(settings):
    settings.FILE_UPLOAD_TEMP_DIR.mkdir()
    (settings.FILE_UPLOAD_TEMP_DIR / "torn.upload").write_bytes(b"half")
    on_starting(None)
    assert not settings.FILE_UPLOAD_TEMP_DIR.exists()
    sweep_uploads()  # nothing there is nothing wrong

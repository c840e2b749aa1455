"""The file store: the same bytes once, within a studio, and nothing left of what was refused."""

import hashlib
import subprocess
import sys

import pytest
from uuid6 import uuid7

from studio.records.store import FileTooLarge, discard_torn, file_path, incoming, keep_file


@pytest.fixture
def studio_id(settings, tmp_path):
    settings.FILES_FOLDER = tmp_path
    return uuid7()


def files(folder):
    return [path for path in folder.rglob("*") if path.is_file()]


def test_bytes_lie_under_their_hash(studio_id):
    kept = keep_file(studio_id=studio_id, chunks=[b"a", b"b"])
    assert (kept.sha256, kept.size_bytes) == (hashlib.sha256(b"ab").hexdigest(), 2)
    assert file_path(studio_id=studio_id, sha256=kept.sha256).read_bytes() == b"ab"


def test_the_same_bytes_lie_once(studio_id, tmp_path):
    keep_file(studio_id=studio_id, chunks=[b"ab"])
    keep_file(studio_id=studio_id, chunks=[b"a", b"b"])
    assert len(files(tmp_path)) == 1


def test_studios_do_not_share_files(studio_id):
    kept = keep_file(studio_id=studio_id, chunks=[b"ab"])
    assert not file_path(studio_id=uuid7(), sha256=kept.sha256).exists()


def test_too_many_bytes_leave_nothing(studio_id, tmp_path):
    with pytest.raises(FileTooLarge, match="more than 3 bytes"):
        keep_file(studio_id=studio_id, chunks=[b"ab", b"cd", b"ef"], max_bytes=3)
    assert files(tmp_path) == []


def test_a_broken_upload_leaves_nothing(studio_id, tmp_path):
    def chunks():
        yield b"ab"
        raise ConnectionError("the phone lost its network")

    with pytest.raises(ConnectionError, match="lost its network"):
        keep_file(studio_id=studio_id, chunks=chunks())
    assert files(tmp_path) == []


def test_file_and_folders_reach_the_disk(studio_id, monkeypatch):
    synced = []
    monkeypatch.setattr("studio.records.store.os.fsync", synced.append)
    keep_file(studio_id=studio_id, chunks=[b"ab"])
    assert len(synced) == 5


def test_bytes_that_a_row_may_name_are_never_replaced_by_torn_ones(studio_id, monkeypatch):
    """A name that is new may come first; one that is there is given on only when the other bytes are on the disk."""
    keep_file(studio_id=studio_id, chunks=[b"ab"])
    steps = []
    monkeypatch.setattr("studio.records.store.os.fsync", lambda handle: steps.append("fsync"))
    monkeypatch.setattr("studio.records.store.os.replace", lambda *_: steps.append("replace"))
    keep_file(studio_id=studio_id, chunks=[b"ab"])
    assert steps[:2] == ["fsync", "replace"]


def test_a_file_system_without_second_names_keeps_files_too(studio_id, tmp_path, monkeypatch):
    """POSIX link(2): EPERM where the file system has no hard links."""
    monkeypatch.setattr("studio.records.store.os.link", lambda *_: (_ for _ in ()).throw(PermissionError()))
    kept = keep_file(studio_id=studio_id, chunks=[b"ab"])
    assert files(tmp_path) == [file_path(studio_id=studio_id, sha256=kept.sha256)]


def test_bytes_that_are_not_kept_leave_nothing(studio_id, tmp_path):
    with incoming(studio_id=studio_id, chunks=[b"ab"]) as came:
        assert came.stored.size_bytes == 2
    assert files(tmp_path) == []


def test_what_a_killed_process_left_is_discarded_and_nothing_else(studio_id, tmp_path):
    """SIGKILL cannot be caught (POSIX.1, signal concepts): the half of a file stays where it was."""
    kept = keep_file(studio_id=studio_id, chunks=[b"ab"])
    program = (
        "import os, signal, sys, tempfile\n"
        "from studio.records import store\n"
        "from types import SimpleNamespace\n"
        "store.settings = SimpleNamespace(FILES_FOLDER=sys.argv[1])\n"
        "store.keep_file(studio_id=sys.argv[2], chunks=(os.kill(os.getpid(), signal.SIGKILL) for _ in 'a'))\n"
    )
    subprocess.run([sys.executable, "-c", program, str(tmp_path), str(studio_id)], check=False)
    assert len(files(tmp_path)) == 2
    discard_torn()
    assert files(tmp_path) == [file_path(studio_id=studio_id, sha256=kept.sha256)]

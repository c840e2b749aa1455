"""A child of the supervisor: what a full disk may and may not do to it."""

import errno
import sys

import pytest

from studio.config.supervisor import Child


@pytest.fixture
def child(tmp_path):
    child = Child(name="sleeper", command=[sys.executable, "-c", "input()"], env={}, folder=tmp_path)
    yield child
    child.forget()


def no_room(*_):
    raise OSError(errno.ENOSPC, "No space left on device")


def test_a_start_that_finds_no_room_is_tried_again_and_ends_nobody(child):
    child.before_start = no_room
    assert "The sleeper process cannot be started ([Errno 28] No space left on device)" in child.look()
    assert child.look() is None
    child.before_start, child.start_at = (lambda: None), 0.0
    assert child.look() is None
    assert child.process is not None


def test_a_pid_that_cannot_be_written_down_ends_no_process(child):
    child.pid_file.mkdir()
    child.start()
    assert child.process is not None
    child.pid_file.rmdir()

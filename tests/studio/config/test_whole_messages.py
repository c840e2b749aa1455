"""The queue of files: no worker ever sees a part of a message, and none ends on one that a crash cut short."""

from pathlib import Path
from queue import Empty

import pytest
from django.conf import settings
from kombu import Connection
from kombu.transport import filesystem

from studio.config import whole_messages
from studio.config.celery import app

QUEUE = "studio"


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "in").mkdir()
    return tmp_path / "in"


@pytest.fixture
def queue(folder, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(folder.parent))  # where the library takes messages through
    options = {"data_folder_in": str(folder), "data_folder_out": str(folder), "control_folder": str(folder.parent)}
    whole_messages.Transport.global_state.clear()  # the library's memory of other folders
    embedded = settings.CELERY_BROKER_URL.startswith("filesystem")  # not where the studio has a Redis
    assert app.connection_for_write().transport.driver_type == ("filesystem" if embedded else "redis")
    with Connection("filesystem://", transport_options=options) as connection, connection.SimpleQueue(QUEUE) as made:
        yield made


def test_messages_come_out_as_they_went_in_the_oldest_first(queue):
    for number in range(3):
        queue.put({"number": number})
    taken = [queue.get_nowait() for _ in range(3)]
    assert [one.payload for one in taken] == [{"number": number} for number in range(3)]
    for one in taken:
        one.ack()
    with pytest.raises(Empty):
        queue.get_nowait()


def test_a_message_is_in_the_queue_only_once_it_is_whole(queue, folder, monkeypatch):
    seen = []

    def looking(act):
        def looked(*args, **options):
            done = act(*args, **options)
            seen.extend(folder.glob(f"*.{QUEUE}.msg"))
            return done

        return looked

    for place in (filesystem, whole_messages):  # the library makes the bytes after it has opened the file
        monkeypatch.setattr(place, "dumps", looking(place.dumps))
    monkeypatch.setattr(Path, "write_text", looking(Path.write_text))
    queue.put({"number": 1})
    assert not seen
    assert queue.get_nowait().payload == {"number": 1}


@pytest.mark.parametrize("torn", ["", '{"body": "W10='])
def test_a_message_that_a_crash_cut_short_wakes_nobody_and_stops_nobody(queue, folder, torn):
    (folder / f"1_first.{QUEUE}.msg").write_text(torn)
    with pytest.raises(Empty):
        queue.get_nowait()
    queue.put({"number": 2})
    assert queue.get_nowait().payload == {"number": 2}

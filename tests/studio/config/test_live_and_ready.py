"""`/live/` answers as long as the process does; `/ready/` says what is missing."""

import pytest
import redis
from django.db import DatabaseError

from studio.config import health


@pytest.fixture
def queue(settings, tmp_path):
    settings.REDIS_URL = ""
    settings.QUEUE_FOLDER = tmp_path
    (tmp_path / "in").mkdir()
    return tmp_path / "in"


def reasons(client):
    answer = client.get("/ready/")
    assert answer.status_code == (503 if answer.json()["reasons"] else 200)
    assert answer["Cache-Control"] == "no-store"
    return " ".join(answer.json()["reasons"])


def test_live_needs_nothing(client):
    answer = client.get("/live/")
    assert (answer.status_code, answer.json()) == (200, {"live": True})


def test_ready_when_all_is_there(client, db, queue):
    assert reasons(client) == ""


def test_a_database_that_does_not_answer(client, queue, monkeypatch):
    def refuse():
        raise DatabaseError("gone")

    monkeypatch.setattr(health, "pending_migrations", refuse)
    assert reasons(client) == "The database does not answer."


def test_missing_tables(client, queue, monkeypatch):
    monkeypatch.setattr(health, "pending_migrations", lambda: ["records.0009_more"])
    assert "1 migrations are not applied" in reasons(client)


def test_a_missing_queue_folder(client, db, queue):
    queue.rmdir()
    assert "queue folder is missing" in reasons(client)


def test_redis_away(client, db, settings, monkeypatch):
    def refuse(self):
        raise redis.ConnectionError("refused")

    settings.REDIS_URL = "redis://127.0.0.1:1/0"
    monkeypatch.setattr(redis.Redis, "ping", refuse)
    assert reasons(client) == "The queue (Redis) does not answer."


def test_a_full_disk(client, db, queue, monkeypatch):
    monkeypatch.setattr(health, "FREE_LEAST_MIB", 10**9)
    assert "are needed. Make room." in reasons(client)


def test_several_reasons_come_together(client, db, queue, monkeypatch):
    queue.rmdir()
    monkeypatch.setattr(health, "FREE_LEAST_MIB", 10**9)
    assert "queue folder" in reasons(client)
    assert "Make room" in reasons(client)

"""Callers who stop in the middle of a request: the kernel gives the thread back (socket(7), SO_RCVTIMEO)."""

import socket
from types import SimpleNamespace

import pytest

from studio.config import web_server


def test_an_accepted_connection_waits_for_a_silent_caller_only_so_long(monkeypatch):
    monkeypatch.setattr(web_server, "SILENT_MOST_S", 1)
    with socket.create_server(("127.0.0.1", 0)) as listener:
        web_server.when_ready(SimpleNamespace(LISTENERS=[listener]))
        with socket.create_connection(listener.getsockname()), listener.accept()[0] as accepted:
            accepted.setblocking(True)  # as gunicorn's threads do
            with pytest.raises(BlockingIOError, match="temporarily unavailable"):
                accepted.recv(1)

"""`runstudio` as a process: one on a folder, all of it gone when it goes, however it goes."""

import os
import signal
import socket
import sqlite3
import time

import pytest

from tests.faults.kill_rounds import small_day
from tests.faults.living_studio import LivingStudio, process_is_gone, wait_for

pytestmark = pytest.mark.processes


def all_gone(pids):
    return all(process_is_gone(pid) for pid in pids)


def rows(studio, table):
    with sqlite3.connect(studio.data / "studio.sqlite3") as database:
        return database.execute(f"SELECT COUNT(*) FROM {table}").fetchone()[0]  # noqa: S608 - our own names


def test_ctrl_c_stops_everything_and_a_second_start_finds_it_as_it_was(demo):
    pids = demo.pids()
    began = time.monotonic()
    demo.process.send_signal(signal.SIGINT)
    assert demo.process.wait(20) == 0
    assert time.monotonic() - began < 16
    assert all_gone(pids)
    assert not list(demo.data.glob("*.pid"))
    before = rows(demo, "records_user"), rows(demo, "results_job")
    demo.start("--demo")
    assert (rows(demo, "records_user"), rows(demo, "results_job")) == before


def test_kill_9_of_runstudio_leaves_no_orphan_and_the_next_start_ends_the_job(idle):
    pids = idle.pids()
    job_id = idle.upload(*small_day("orphan"))
    idle.kill(idle.process.pid)
    idle.process.wait()
    wait_for("the orphans to end", lambda: all_gone(pids), patience_s=5)
    idle.start()
    job = idle.ended_job(job_id)
    assert job["state"] == "done"
    assert len(idle.analyses_of(job["result"]["session"])) == 1


def half_an_upload(studio):
    """A caller in the middle of sending a large recording."""
    caller = socket.create_connection(("127.0.0.1", studio.port))
    head = b'--x\r\nContent-Disposition: form-data; name="file"; filename="day.csv"\r\n\r\n'
    lines = ["POST /api/v1/recordings/ HTTP/1.1", f"Host: 127.0.0.1:{studio.port}", "Content-Length: 9000000"]
    lines += [f"Authorization: Bearer {studio.token}", "Content-Type: multipart/form-data; boundary=x", "", ""]
    caller.sendall("\r\n".join(lines).encode() + head + b"1" * 4_000_000)
    return caller


@pytest.mark.rounds
def test_a_killed_web_server_comes_back_without_what_it_was_receiving(idle):
    received = idle.data / "uploads"
    with half_an_upload(idle):
        wait_for("the upload to arrive", lambda: received.exists() and list(received.iterdir()))
        idle.kill(idle.pid("web"))
    wait_for("the pages to end", lambda: not idle.ask("/live/")[0], patience_s=5)
    wait_for("the pages to come back", lambda: idle.ask("/live/")[0] == 200)
    assert "The web process ended (-9)" in idle.said()
    assert not received.exists()


def test_a_second_start_on_the_same_folder_or_port_is_refused(idle, tmp_path):
    assert idle.spawn().wait(20) == 1
    assert f"A studio already runs on the folder {idle.data} (process {idle.process.pid})" in idle.said()
    other = LivingStudio(tmp_path / "other")
    assert other.spawn("--port", str(idle.port)).wait(20) == 1
    assert f"Port {idle.port} on 127.0.0.1 cannot be used" in other.said()


def test_an_empty_studio_says_how_to_make_its_owner_and_the_demo_stays_out_of_it(living):
    living.start()
    wait_for("the greeting", lambda: f"manage.py createowner --data {living.data}" in living.said())
    living.stop()
    with sqlite3.connect(living.data / "studio.sqlite3") as database:
        database.execute("INSERT INTO records_studio VALUES (?, 'Own', '', 'UTC', '2026-05-09')", ["0" * 32])
    assert living.spawn("--demo").wait(20) == 1
    assert "This folder holds records of its own" in living.said()


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (["--demo", "--listen", "0.0.0.0"], "The demo listens on this machine only"),  # noqa: S104 - is refused
        (["--port", "70000"], "70000 is no port; allowed are 1 to 65535"),
        (["--listen", "0.0.0.0"], "set PUBLIC_URL to the address that they type"),  # noqa: S104 - is refused
    ],
)
def test_what_cannot_be_opened_is_refused(living, options, sentence):
    assert living.spawn(*options).wait(20) in {1, 2}
    assert sentence in living.said()


def test_the_pages_answer_and_the_sign_ins_exist_at_the_first_answer(living):
    began = time.monotonic()
    living.start("--demo")
    seconds = time.monotonic() - began
    for username in ("owner", "fitter", "client", "shop"):
        living.sign_in(username)
    assert os.path.exists(living.data / "web.pid")
    assert seconds < 20  # the requirement is 5 s on an idle machine; this one may be shared

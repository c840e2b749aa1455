"""What real processes write into their logs: JSON lines with ids, nothing of a person."""

import json
import socket

import pytest

from tests.faults.kill_rounds import small_day
from tests.faults.living_studio import wait_for

pytestmark = pytest.mark.processes


def lines_of(studio, name):
    """Every line, each of them JSON."""
    return [json.loads(line) for line in (studio.data / f"{name}.log").read_text(encoding="utf-8").splitlines()]


def torn_request(studio):
    """Something that is no HTTP; gives the answer's first bytes."""
    with socket.create_connection(("127.0.0.1", studio.port)) as caller:
        caller.sendall(b"fitter@example.org\r\n\r\n")
        return caller.recv(12)


def test_the_logs_of_an_upload_name_request_and_job_and_nobody(idle):
    assert torn_request(idle) == b"HTTP/1.1 400"
    document, files = small_day("A day of somebody")
    job_id = idle.upload(document, files)
    idle.ended_job(job_id)
    wait_for("the job's last line", lambda: {"job left"} & {line["message"] for line in of_job(idle, job_id)})
    (asked,) = [line for line in lines_of(idle, "web") if line.get("job") == job_id and line.get("method") == "POST"]
    assert (asked["route"], asked["status"], len(asked["request"])) == ("api/v1/bundles/", 202, 36)
    assert of_job(idle, job_id)[-1]["state"] == "done"
    written = json.dumps(lines_of(idle, "web") + lines_of(idle, "worker"))
    for personal in ("A day of somebody", "day.zip", *files, document["rider"]["code"], "fitter", "127.0.0.1"):
        assert personal not in written


def of_job(studio, job_id):
    return [line for line in lines_of(studio, "worker") if line.get("job") == job_id]

"""Jobs: what the row says, once by GET and as it changes by server-sent events."""

import json
import socket

import pytest

from analysis.results.models import Job
from studio.api import streams
from studio.api.jobs import job_document
from studio.api.problems import TooManyStreams
from studio.api.streams import JobStream, event_id, has_left
from studio.records.services.tokens import token_revoke
from tests.factories import NOON, JobFactory

PROBLEM = {"type": "/api/v1/docs/problems/unusable/", "title": "t", "status": 422, "detail": "d"}


@pytest.fixture(autouse=True)
def acts(monkeypatch):
    """The stream's closing of its connection, noted and not done: here the connection is the test's own."""
    acts = []
    monkeypatch.setattr(streams.connection, "close", lambda: acts.append("closed"))
    return acts


@pytest.fixture
def job(studio, fitter_bo):
    return JobFactory(studio=studio, requested_by=fitter_bo)


@pytest.fixture
def bo(api, fitter_bo):
    return api(fitter_bo)


class Clock:
    """Time that passes only by waiting; `then` happens at the given second."""

    def __init__(self, then=None):
        self.now, self.then = 0.0, then or {}

    def __call__(self):
        return self.now

    def wait(self, seconds):
        self.now += seconds
        for at in [at for at in self.then if at <= self.now]:
            self.then.pop(at)()


def streamed(job, *, seen="", then=None):
    """Everything a stream says of the job, and how long it ran."""
    clock = Clock(then)
    stream = JobStream(read=lambda: job_document(Job.objects.get(pk=job.pk)), seen=seen, wait=clock.wait, clock=clock)
    try:
        return b"".join(stream).decode(), clock.now
    finally:
        stream.close()


def finish(job):
    Job.objects.filter(pk=job.pk).update(state="done", progress=1.0, result={"analysis": "x"}, ended_at=NOON)


def test_a_job_says_state_progress_message_result_and_problem(bo, job):
    said = bo.get(f"/api/v1/jobs/{job.pk}/").json()
    parts = {key: said[key] for key in ("id", "state", "progress", "message", "result", "problem")}
    assert parts == {
        "id": str(job.pk), "state": "queued", "progress": 0.0, "message": "", "result": None, "problem": None
    }  # fmt: skip


def test_a_refused_job_carries_its_problem(bo, job):
    Job.objects.filter(pk=job.pk).update(state="refused", problem=PROBLEM)
    assert bo.get(f"/api/v1/jobs/{job.pk}/").json()["problem"] == PROBLEM


def test_a_traceback_is_never_shown(bo, job):
    Job.objects.filter(pk=job.pk).update(state="failed", traceback="File secret.py", message="A fault.")
    assert b"secret" not in bo.get(f"/api/v1/jobs/{job.pk}/").content


def test_the_stream_says_the_end_and_ends(bo, job):
    finish(job)
    answer = bo.get(f"/api/v1/jobs/{job.pk}/events/", HTTP_ACCEPT="text/event-stream")
    text = b"".join(answer.streaming_content).decode()
    answer.close()
    assert (answer.status_code, answer["Content-Type"]) == (200, "text/event-stream")
    assert text.startswith("retry: 3000\n\nid: ")
    said = json.loads(text.split("data: ")[1].splitlines()[0])
    assert said == bo.get(f"/api/v1/jobs/{job.pk}/").json()


def test_the_stream_tells_each_change_once(job):
    text, lasted = streamed(job, then={5: lambda: finish(job)})
    assert text.count("event: job\n") == 2
    assert '"state":"queued"' in text
    assert '"state":"done"' in text
    assert lasted == pytest.approx(5, abs=streams.LOOK_EVERY_S)


def test_a_quiet_stream_comments_every_15_s_and_ends_after_60_s(job):
    text, lasted = streamed(job)
    assert lasted == 60
    assert text.count("\n: still here\n") == 3
    assert text.count("event: job\n") == 1


def test_who_comes_back_hears_only_what_is_new(job):
    first, _ = streamed(job)
    seen = first.split("id: ")[1].splitlines()[0]
    assert streamed(job, seen=seen)[0].count("event: job\n") == 0
    finish(job)
    assert streamed(job, seen=seen)[0].count("event: job\n") == 1


def test_who_has_heard_the_end_is_told_not_to_come_back(bo, job):
    finish(job)
    seen = event_id(job_document(Job.objects.get(pk=job.pk)))
    answer = bo.get(f"/api/v1/jobs/{job.pk}/events/", HTTP_LAST_EVENT_ID=seen)
    assert answer.status_code == 204


def test_the_connection_is_closed_before_each_wait(job, acts):
    clock = Clock()
    stream = JobStream(
        read=lambda: job_document(Job.objects.get(pk=job.pk)),
        wait=lambda seconds: acts.append("waits") or clock.wait(seconds),
        clock=clock,
    )
    list(stream)
    stream.close()
    assert acts[0::2] == ["closed"] * len(acts[0::2])
    assert acts[1::2] == ["waits"] * len(acts[0::2])


def test_the_25th_stream_is_503_and_a_closed_one_makes_room(bo, job):
    read = lambda: job_document(job)  # noqa: E731
    opened = [JobStream(read=read) for _ in range(24)]
    try:
        answer = bo.get(f"/api/v1/jobs/{job.pk}/events/")
        assert (answer.status_code, answer["Content-Type"]) == (503, "application/problem+json")
        assert int(answer["Retry-After"]) > 0
        opened.pop().close()
        opened.append(JobStream(read=read))
        with pytest.raises(TooManyStreams):
            JobStream(read=read)
    finally:
        for stream in opened:
            stream.close()
            stream.close()


def test_a_caller_who_hung_up_frees_the_place_at_the_next_look(job):
    ours, theirs = socket.socketpair()
    clock = Clock({2: theirs.close})
    stream = JobStream(read=lambda: job_document(job), left=lambda: has_left(ours), wait=clock.wait, clock=clock)
    list(stream)
    stream.close()
    ours.close()
    assert clock.now == 2


def test_a_stream_ends_with_its_token(bo, job, fitter_bo, monkeypatch):
    monkeypatch.setattr(streams, "LOOK_EVERY_S", 0)
    answer = bo.get(f"/api/v1/jobs/{job.pk}/events/")
    lines = iter(answer)
    assert [next(lines)[:6], next(lines)[:3]] == [b"retry:", b"id:"]
    token_revoke(token=fitter_bo.tokens.get())
    assert list(lines) == []
    answer.close()
    assert bo.get(f"/api/v1/jobs/{job.pk}/events/").status_code == 401


def test_who_only_listens_has_not_left():
    ours, theirs = socket.socketpair()
    with ours, theirs:
        assert not has_left(ours)
        theirs.send(b"x")
        assert not has_left(ours)
    assert has_left(ours)
    assert not has_left(None)


def test_a_client_follows_only_own_jobs(api, studio, client_cy, job):
    own = JobFactory(studio=studio, requested_by=client_cy)
    client = api(client_cy)
    assert [row["id"] for row in client.get("/api/v1/jobs/").json()["results"]] == [str(own.pk)]
    assert client.get(f"/api/v1/jobs/{job.pk}/events/").status_code == 404

"""A web process killed between the commit and its answer: the request sent again gets the answer, and writes nothing.

The process really dies (SIGKILL), at the moment when the committed work would wake a worker; and of many requests
under one key at the same moment, each on a connection of its own, one is done.
"""

import json
import subprocess
import sys

import pytest

from tests.faults.living_studio import ROOT

pytestmark = pytest.mark.processes

PEOPLE = """
from django.core.management import call_command
from studio.records.services.tokens import token_create
from tests.factories import FieldSessionFactory, MembershipFactory
call_command("migrate", verbosity=0)
bo = MembershipFactory(user__username="bo").user
session = FieldSessionFactory(studio=bo.membership.studio)
print(token_create(user=bo)[1], session.pk)
"""
SEND = """
import json, os, signal, threading
from django.db import connection
from rest_framework.test import APIClient
from analysis.jobs import enqueue
from analysis.results.models import Job
enqueue.wake_soon = {wake}
answers, gate = [], threading.Barrier({callers})
def send():
    gate.wait()
    client = APIClient(HTTP_HOST="127.0.0.1", HTTP_AUTHORIZATION="Bearer {token}", HTTP_IDEMPOTENCY_KEY="{key}")
    answer = client.post("/api/v1/sessions/{session}/analyse/")
    answers.append([answer.status_code, answer.json().get("id")])
    connection.close()
threads = [threading.Thread(target=send) for _ in range({callers})]
[thread.start() for thread in threads]
[thread.join() for thread in threads]
print(json.dumps([answers, [str(job.pk) for job in Job.objects.all()]]))
"""
DIE = "lambda: os.kill(os.getpid(), signal.SIGKILL)"
KILLED = -9


def run(place, *words):
    """Exit status and standard output of a command on the place."""
    environment = place.environment() | {"STUDIO_DATA": str(place.data)}
    line = [sys.executable, "manage.py", *words]
    done = subprocess.run(line, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    return done.returncode, done.stdout


@pytest.fixture
def sent(new_place):
    """Sends the same request from a process of its own."""
    place = new_place()
    token, session = run(place, "shell", "-v", "0", "-c", PEOPLE)[1].split()

    def send(wake="lambda: None", key="once", callers=1):
        script = SEND.format(wake=wake, key=key, callers=callers, token=token, session=session)
        return run(place, "shell", "-v", "0", "-c", script)

    return send


def test_the_write_and_its_answer_are_there_together_and_many_at_once_are_done_once(sent):
    assert sent(DIE) == (KILLED, "")
    answers, jobs = json.loads(sent(callers=6)[1])
    assert (len(jobs), answers) == (1, [[202, jobs[0]]] * 6)
    answers, both = json.loads(sent(key="another", callers=6)[1])
    assert (len(both), {status for status, _ in answers} <= {202, 409}) == (2, True)
    assert {job for status, job in answers if status == 202} == set(both) - set(jobs)

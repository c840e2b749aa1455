"""kill -9 of a worker in the middle of an analysis: the job ends with one result, without anyone's help."""

import random

import pytest

from tests.faults.kill_rounds import one_round, small_day
from tests.faults.living_studio import wait_for

pytestmark = pytest.mark.processes


@pytest.mark.parametrize("rounds", [1, pytest.param(3, marks=pytest.mark.rounds)])
def test_rounds_end_with_one_result_each(idle, rounds):
    chance = random.Random(20261125 + rounds)
    for number in range(rounds):
        one_round(idle, chance, f"round {number}", victims=["worker"])


@pytest.mark.rounds
def test_killed_children_stop_nothing_although_an_idle_one_takes_the_pools_lock_along(idle):
    one_round(idle, random.Random(20261125), "children", victims=["child"])
    job = idle.ended_job(idle.upload(*small_day("after the children")))
    assert job["state"] == "done"


def test_a_torn_queue_ends_the_worker_and_the_studio_goes_on(idle):
    before = idle.pid("worker")
    (idle.data / "queue" / "control" / "studio.exchange").write_bytes(b"")
    (idle.data / "queue" / "in" / "1_torn.studio.msg").write_bytes(b'{"body": "W1')
    wait_for("a new worker", lambda: idle.pid("worker") != before)
    job = idle.ended_job(idle.upload(*small_day("after the torn message")))
    assert job["state"] == "done"


@pytest.mark.rounds
def test_a_users_job_goes_ahead_of_the_demo_and_ends_within_a_minute(demo):
    job = demo.ended_job(demo.upload(*small_day("mine")), patience_s=60)
    assert job["state"] == "done"
    waiting = demo.ask("/api/v1/jobs/?state=queued")[1]["results"]
    assert {other["kind"] for other in waiting} <= {"demo_session", "demo_accepting"}


@pytest.mark.server
def test_a_round_on_postgresql_and_redis(served_demo):
    one_round(served_demo, random.Random(20261125), "served", victims=["worker"])

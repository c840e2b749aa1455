"""Rounds of kill -9 in the middle of an analysis: `python tests/faults/kill_rounds.py --rounds 20 --seed 1`.

Each round uploads a session, kills a process of the worker at a seeded moment and waits, without helping, for one
session with one analysis. The suite runs one round and `.ci/run` more; a round that kills a child waits for its lease,
about 25 s.
"""

import argparse
import itertools
import random
import sys
import tempfile
import time
from pathlib import Path

from analysis.jobs.demo_bundle import demo_bundle
from tests.faults.living_studio import LivingStudio, children_of, wait_for

LONGEST_DELAY_S = 1.2
VICTIMS = ("worker", "worker", "child")


def small_day(title):
    """Document and recordings of a four-run session that the studio has not seen before."""
    document, files = demo_bundle(1)
    document["session"]["title"] = title
    document["runs"] = document["runs"][:4]
    return document, {run["recording"]: files[run["recording"]] for run in document["runs"]}


def kill_one(studio, victim):
    """kill -9 for the worker, or for all its children: which of them works cannot be seen from outside."""
    worker = studio.pid("worker")
    for pid in [worker] if victim == "worker" else children_of(worker):
        studio.kill(pid)


def strike(studio, chance, title, victims):
    """Upload a session and kill in the middle of its job; gives the job's id, its title and what was struck.

    A job that was quicker than the blow proves nothing: then another session is uploaded.
    """
    for take in itertools.count(1):
        job_id = studio.upload(*small_day(f"{title}, take {take}"))
        wait_for("the job to start", lambda job_id=job_id: studio.job(job_id)["state"] != "queued")
        delay, victim = chance.uniform(0, LONGEST_DELAY_S), chance.choice(victims)
        time.sleep(delay)  # the moment of the crash is what a round varies
        struck = studio.job(job_id)
        if struck["state"] == "running":
            kill_one(studio, victim)
            return job_id, f"{title}, take {take}", f"{victim} killed after {delay:.2f} s at {struck['progress']:.0%}"
    raise AssertionError("unreachable")


def one_round(studio, chance, title, victims=VICTIMS):
    """Upload, kill, wait; gives what happened, or raises AssertionError."""
    job_id, title, blow = strike(studio, chance, title, victims)
    began = time.monotonic()
    job = studio.ended_job(job_id)
    seconds = time.monotonic() - began
    assert job["state"] == "done", job
    sessions = studio.sessions_called(title)
    assert [session["id"] for session in sessions] == [job["result"]["session"]]
    analyses = studio.analyses_of(sessions[0]["id"])
    assert [analysis["id"] for analysis in analyses] == [job["result"]["analysis"]]
    return f"{title}: {blow}; done {seconds:.1f} s later, one result"


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    chance = random.Random(options.seed)
    with tempfile.TemporaryDirectory() as folder:
        studio = LivingStudio(Path(folder))
        try:
            studio.start("--demo")
            studio.sign_in()
            for number in range(1, options.rounds + 1):
                sys.stdout.write(one_round(studio, chance, f"round {number}") + "\n")
                sys.stdout.flush()
        finally:
            studio.stop()
    sys.stdout.write(f"{options.rounds} rounds, {options.rounds} sessions, one analysis each.\n")


if __name__ == "__main__":
    sys.exit(main())

"""Real studios for the fault tests; whatever a test does to one, nothing of it runs on afterwards."""

import fcntl
import os
import shutil
import uuid
from urllib.parse import urlsplit

import psycopg
import pytest

from tests.faults.living_studio import LivingStudio, wait_for


@pytest.fixture
def living(tmp_path):
    studio = LivingStudio(tmp_path)
    yield studio
    studio.stop()


@pytest.fixture
def demo(living):
    """A demo studio in which the fitter is signed in."""
    living.start("--demo")
    living.sign_in()
    return living


@pytest.fixture
def idle(living, tmp_path_factory, worker_id):
    """The same without the demo's own days, whose simulation would keep two processors at work beside the test.

    Its folder is made once in a run: of several workers the others wait for the first and copy what it left.
    """
    run = tmp_path_factory.getbasetemp()
    kept = (run if worker_id == "master" else run.parent) / "idle-demo"
    with kept.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (kept / "token").exists():
            shutil.rmtree(kept, ignore_errors=True)
            kept.mkdir()
            first = LivingStudio(kept)
            try:
                first.start("--demo")
                (kept / "token").write_text(first.sign_in(), encoding="ascii")
                first.forget_waiting_jobs()
            finally:
                first.stop()
    shutil.copytree(kept / "studio", living.data)
    living.token = (kept / "token").read_text(encoding="ascii")
    living.start()
    wait_for("the worker", (living.data / "worker.pid").exists)
    return living


def served_variables():
    """PostgreSQL, with an empty database of its own, and Redis."""
    database, queue = os.environ.get("DATABASE_URL", ""), os.environ.get("REDIS_URL", "")
    if not (database.startswith("postgres") and queue):
        pytest.skip("needs PostgreSQL and Redis (DATABASE_URL, REDIS_URL)")
    name = f"faults_{uuid.uuid4().hex[:8]}"
    with psycopg.connect(database, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    own = urlsplit(database)._replace(path=f"/{name}").geturl()
    return {"DATABASE_URL": own, "REDIS_URL": urlsplit(queue)._replace(path="/9").geturl()}


@pytest.fixture
def served_demo(tmp_path):
    """A demo studio on PostgreSQL and Redis."""
    studio = LivingStudio(tmp_path, **served_variables())
    try:
        studio.start("--demo")
        studio.sign_in()
        yield studio
    finally:
        studio.stop()


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.server)])
def new_place(request, tmp_path):
    """Makes empty places for a studio, on each kind of database."""
    places = []

    def make():
        variables = served_variables() if request.param == "postgresql" else {}
        places.append(LivingStudio(tmp_path / str(len(places)), **variables))
        return places[-1]

    yield make
    for place in places:
        place.stop()

"""Real studios for the fault tests; whatever a test does to one, nothing of it runs on afterwards."""

import os
import uuid
from urllib.parse import urlsplit

import psycopg
import pytest

from tests.faults.living_studio import LivingStudio


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
def idle(demo):
    """The same without the demo's own days, whose simulation would keep two processors at work beside the test."""
    demo.forget_waiting_jobs()
    return demo


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
